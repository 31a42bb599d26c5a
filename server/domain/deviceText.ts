/**
 * The kind of a browser and its system, from what it says of itself (RFC 9110, 10.1.5), for a person to recognise their own by.
 * Only kinds, no versions: those change while a session lasts. Anybody can say anything there, so it proves nothing.
 */
export function deviceText(userAgent: string | undefined): string {
  const said = (userAgent ?? "").slice(0, 512);
  const browser = kindIn(said, browsers);
  const system = kindIn(said, systems);
  if (browser === null && system === null) return "";
  return [browser ?? "A browser", system].filter((words) => words !== null).join(" on ");
}

type Kinds = readonly (readonly [name: string, mark: RegExp])[];

const kindIn = (said: string, kinds: Kinds): string | null => kinds.find(([, mark]) => mark.test(said))?.[0] ?? null;

/** In this order, since most of them say the names of others too. */
const browsers: Kinds = [
  ["Edge", /\bEdgA?\/|\bEdgiOS\//],
  ["Opera", /\bOPR\//],
  ["Samsung Internet", /\bSamsungBrowser\//],
  ["Firefox", /\bFirefox\/|\bFxiOS\//],
  ["Chrome", /Chrome\/|\bCriOS\/|\bChromium\//],
  ["Safari", /\bSafari\//],
];
const systems: Kinds = [
  ["iPhone", /\biPhone\b/],
  ["iPad", /\biPad\b/],
  ["Android", /\bAndroid\b/],
  ["Windows", /\bWindows\b/],
  ["ChromeOS", /\bCrOS\b/],
  ["macOS", /\bMacintosh\b/],
  ["Linux", /\bLinux\b/],
];
