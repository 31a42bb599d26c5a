export const notFoundTitle = "Yard";
export const settingsTitle = "Yard settings";
export const addYardLabel = "Add a yard";
export const summaryText = (zone: string, digestTime: string) => `Time zone: ${zone}. Daily digest at ${digestTime}.`;

export const locationTitle = "Location";
export const locationHint =
  "For sunrise and sunset. It can be rounded and stays on your server. Use minus for south and west.";
export const latitudeLabel = "Latitude";
export const latitudeUnit = "° north";
export const longitudeLabel = "Longitude";
export const longitudeUnit = "° east";
export const useLocationLabel = "Use my location";
export const locatingText = "Getting your location…";
export const locatedText = "Filled in, rounded to about 10 km: that is enough for sunrise and sunset.";
export const noLocationText = "No location available. Enter it, or leave it empty.";

export const digestTitle = "Daily digest";
export const sendDigestLabel = "Send a daily digest";
export const digestTimeLabel = "Time";
