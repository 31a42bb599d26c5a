export const signedOutText = "You were signed out, so this was not saved. Save again.";
