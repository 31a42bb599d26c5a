export const devices = {
  someBrowser: "A browser",
  onSystem: (browser: string, system: string) => `${browser} on ${system}`,
};
