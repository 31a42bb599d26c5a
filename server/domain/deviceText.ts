import { texts } from "../text/index.ts";
/**
 * The kind of a browser and its system, from its User-Agent (RFC 9110, 10.1.5), so that people recognise their own. Only kinds, no
 * versions: those change during a session. The header can be faked, so it proves nothing.
 */
export function deviceText(userAgent: string | undefined): string {
  const userAgentText = (userAgent ?? "").slice(0, 512);
  const browser = kindIn(userAgentText, browsers);
  const system = kindIn(userAgentText, systems);
  if (browser === null && system === null) return "";
  const { onSystem, someBrowser } = texts.devices;
  return system === null ? (browser ?? someBrowser) : onSystem(browser ?? someBrowser, system);
}

type Kinds = readonly (readonly [name: string, mark: RegExp])[];

const kindIn = (userAgentText: string, kinds: Kinds): string | null =>
  kinds.find(([, mark]) => mark.test(userAgentText))?.[0] ?? null;

/** In this order, since most of them contain the names of others too. */
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
