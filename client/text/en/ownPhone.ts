/** Names for a phone until a person changes them. */
export const androidPhoneName = "Android phone";
export const androidTabletName = "Android tablet";
export const windowsName = "Windows computer";
export const macName = "Mac";
export const thisDeviceName = "This device";
export const oldAddressKeptText = "the browser did not give up its old address";
