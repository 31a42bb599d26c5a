/** Also the titles of the tabs. */
export const daysTab = "Days";
export const trainingTab = "Training";
export const youTab = "You";
export const skipLabel = "Skip to content";
export const menuLabel = "Main menu";
export const notSafetyDeviceText = "Pieward helps you to notice problems. It is not a safety device.";
export const notLoadedTitle = "This page could not be loaded";
export const notLoadedText =
  "There is no connection, or the server has a newer version. Actions not sent yet stay on this phone.";
export const reloadLabel = "Reload";
export const noPageTitle = "No such page";
/** Links: home. */
export const noPageText = "This page does not exist. [Go to feeders]";
