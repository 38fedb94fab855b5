"""The one caution, stated once wherever a person reads what to build or whether it is right."""

CAUTION = (
    "No load rating is given or implied: anything that carries people, hangs over people or rolls on a road "
    "needs your local codes and someone licensed to judge it."
)
