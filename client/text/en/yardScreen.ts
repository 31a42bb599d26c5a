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

export const stillsKeptLabel = "Keep the cameras' pictures for";
export const stillsKeptUnit = "days";
export const stillsKeptHint =
  "Those with a star stay for good. A picture takes about 100 kB: 20 a day make 60 MB in 30 days, and 730 MB in a year. At 1 GB or 10,000 pictures the oldest without a star go earlier.";
