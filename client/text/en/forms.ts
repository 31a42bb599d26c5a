/** Texts of several forms, none of them on the first page. */
export const yourPassphraseLabel = "Your passphrase";
export const deleteSummary = "Delete…";
export const chooseOption = "Choose…";
