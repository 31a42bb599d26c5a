/** Screens that a link with a secret opens. One file to fetch: nobody needs two of them on the same day. */
export { FirstSignInScreen } from "./firstSignInScreen.tsx";
export { JoinScreen } from "./joinScreen.tsx";
export { ResetPassphraseScreen } from "./resetPassphraseScreen.tsx";
