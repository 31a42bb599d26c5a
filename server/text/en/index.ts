export { alarms } from "./alarms.ts";
export { blindSpots } from "./blindSpots.ts";
export { cold } from "./cold.ts";
export { faults } from "./faults.ts";
export { sensors } from "./sensors.ts";
export { time } from "./time.ts";
export { units } from "./units.ts";
