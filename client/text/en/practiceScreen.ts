export const title = "Practice";
export const introText =
  "The server simulates two feeders. Choose a fault and see what you get on your phone. Practice data is marked and separate from your data.";
export const onlyKeepersText = "Only keepers can start and end practice.";
export const startLabel = "Start practice";
export const goToLabel = (feeder: string) => `Go to ${feeder}, practice`;
export const faultTitle = "Fault";
export const faultHint = "The fault is on Rowan unless Larch is named. Practice alarms come sooner than real alarms.";
export const onFeederText = (feeder: string) => `On ${feeder}.`;
export const startFaultLabel = "Start this fault";
export const watchLabel = (feeder: string) => `Watch ${feeder}`;
export const endTitle = "End practice";
export const endText = "Deletes the practice yard and its data. Your yards are not changed.";
export const deleteLabel = "Delete practice";
