export { faults } from "./faults.ts";
