/** A yard's own page and a new yard's. One file to fetch: they share most of their fields. */
export { AddYardScreen } from "./addYardScreen.tsx";
export { YardScreen } from "./yardScreen.tsx";
