export const title = "New passphrase";
export const incompleteLinkText = "This link is not complete: it should end in # and a secret.";
/** A command follows. */
export const newLinkText = "The server's administrator can create a new link with";
export const introText = "Choose a new passphrase. This signs out all your other devices.";
export const newPassphraseLabel = "New passphrase";
export const saveLabel = "Save passphrase";
