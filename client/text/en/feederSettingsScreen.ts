export const title = "Settings";
export const savedText = "Settings saved.";

export const locationTitle = "Location";
export const noLocationText = (yard: string, zone: string) =>
  `The location of ${yard} is not entered, so sunrise and sunset are not known. Time zone: ${zone}.`;
export const locationText = (yard: string, latitude: string, longitude: string, zone: string) =>
  `${yard} is at ${latitude}, ${longitude}. Time zone: ${zone}.`;
export const latitudeText = (degrees: number) => `${Math.abs(degrees)}° ${degrees < 0 ? "south" : "north"}`;
export const longitudeText = (degrees: number) => `${Math.abs(degrees)}° ${degrees < 0 ? "west" : "east"}`;
export const enterLocationLabel = "Enter location";
export const changeYardLabel = "Change yard settings";

export const keyTitle = "Key";
export const newKeyTitle = "Make a new key…";
export const newKeyText = "The old key stops working immediately. The feeder can't report until it has the new key.";
export const newKeyLabel = (feeder: string) => `Make a new key for ${feeder}`;

export const dataTitle = "Data";
export const dataText = (feeder: string) => `All reports and events of ${feeder} as a file.`;
export const downloadLabel = "Download data";

export const removeTitle = "Remove";
export const removeSummary = (feeder: string) => `Remove ${feeder}…`;
export const removeText =
  "All its data is deleted. This can't be undone. Birds rely on the feeder: reduce the food day by day before you remove it.";
export const taperLabel = "Taper off over two weeks, by the feeding plan";
export const removeLabel = (feeder: string) => `Remove ${feeder} and delete its data`;
