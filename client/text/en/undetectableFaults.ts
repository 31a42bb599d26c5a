export const undetectableTitle = (feeder: string) => `What ${feeder} can't detect`;
