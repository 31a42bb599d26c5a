export const title = "First sign-in";
export const incompleteLinkText = "This link is not complete. Copy the whole link from the server's output.";
export const introText = "You are the first user. Choose a name and a passphrase. The link works only once.";
export const yourNameLabel = "Your name";
export const createLabel = "Create account";
