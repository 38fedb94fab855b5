// Colours of marks, told apart by people with any of the common colour blindnesses (M. Okabe, K. Ito, "Color Universal Design",
// 2002), and never alone: width, dashes and shapes say the same.
export const SURE = "#56B4E9", UNSURE = "#E69F00", CHOSEN = "#F0E442", OPENING = "#FFFFFF", ROW = "#009E73", FALSE = "#D55E00", PLAN = "#CC79A7", INK = "#14191c";
export const LEAST_SURE = 0.9;
