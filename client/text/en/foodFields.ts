export const foodLabel = "Food";
/** Links: the safety information. */
export const foodHint =
  "Only unsalted, dry and fresh; never mouldy, peanuts least of all. No whole peanuts while birds have young: chicks choke on them. Local advice on feeding wild birds comes first. [Safety information]";
export const foodNameLabel = "Name of the food";
export const foodNameHint = "Shown as: “about half full of …”.";
export const portionLegend = "One portion";
export const piecesLabel = "Pieces per portion";
export const piecesHint = "Let the feeder give a few portions and count the pieces of each.";
export const piecesUnit = "pieces";
export const tenPortionsLabel = "Weight of ten portions";
export const tenPortionsHint = "More exact than counting. Optional.";
export const gramsUnit = "g";
