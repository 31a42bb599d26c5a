export const title = "Account";
export const phonesTitle = "Phones";
export const signedInText = (name: string) => `You are signed in as ${name}.`;

export const currentPassphraseLabel = "Current passphrase";
export const newPassphraseLabel = "New passphrase";
export const signsOutText = "This signs out all your other devices and ends your export keys.";
export const changePassphraseLabel = "Change passphrase";
export const passphraseChangedText = "Your passphrase is changed. All your other devices are signed out.";

export const devicesTitle = "Signed-in devices";
export const sessionLimitsText = "A device is signed out after 30 days without use, or after 180 days at most.";
export const unknownDevice = "Unknown device";
export const thisDeviceText = "(this device)";
export const inUseText = "In use now.";
export const lastUsedText = (ago: string) => `Last used ${ago}.`;
export const signedInAgoText = (ago: string) => `Signed in ${ago}.`;
export const signOutLabel = (device: string) => `Sign out ${device}`;
/** Follows the label, for screen readers: two devices may have one name. */
export const signOutDetail = (ago: string) => `, last used ${ago}`;
export const signOutOthersLabel = "Sign out all other devices";
export const deviceSignedOutText = "That device is signed out.";
export const othersSignedOutText = "All other devices are signed out.";
