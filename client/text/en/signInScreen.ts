export const signInLabel = "Sign in";
export const introText = "Sign in to see your feeders.";
export const yourNameLabel = "Your name";
export const signedOutText = "You were signed out. Sign in again.";
export const inputKeptText = "What you entered is still here.";
