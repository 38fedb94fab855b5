// From which confidence on a member counts as sure: the number of recon.workshop.confidence_text (a test
// compares them). Needs nothing.

/** Members less sure than this are drawn broken and asked about. */
export const LEAST_SURE = 0.9;

/**
 * Whether a member is not sure.
 * @param {{confidence: number}} member
 * @returns {boolean}
 */
export const isUnsure = member => member.confidence < LEAST_SURE;
