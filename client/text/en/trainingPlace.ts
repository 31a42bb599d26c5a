export const title = "Training";
/** Links: practice. */
export const noYardText =
  "Here stands how the birds of a yard learn. You have no yard yet. Try a [practice feeder] meanwhile.";
