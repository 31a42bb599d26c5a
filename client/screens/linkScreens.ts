/** Screens that a link with a secret opens. One file to fetch: nobody needs two of them on the same day. */
export { ClaimScreen } from "./claimScreen.tsx";
export { JoinScreen } from "./joinScreen.tsx";
export { ResetScreen } from "./resetScreen.tsx";
