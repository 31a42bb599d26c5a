/** Adding a feeder and changing one. One file to fetch: they share most of their fields. */
export { AddFeederScreen } from "./addFeederScreen.tsx";
export { FeederSettingsScreen } from "./feederSettingsScreen.tsx";
