/** A small still has some 30 KiB. */
const imageOctetsMax = 256 * 1024;
const imageTimeoutMs = 10_000;

/**
 * Fetches a picture with the session's cookie. In a data address, since the browser's own request for a notification's picture need not
 * carry the cookie.
 * @returns null where it can't be had: signed out, deleted, no connection
 */
export async function fetchImage(path: string): Promise<string | null> {
  try {
    const signal = AbortSignal.timeout(imageTimeoutMs);
    const response = await fetch(path, { credentials: "same-origin", signal });
    if (!response.ok || response.headers.get("content-type") !== "image/jpeg") return null;
    const octets = new Uint8Array(await response.arrayBuffer());
    if (octets.length > imageOctetsMax) return null;
    let text = "";
    for (const octet of octets) text += String.fromCharCode(octet);
    return `data:image/jpeg;base64,${btoa(text)}`;
  } catch (cause) {
    console.warn("The picture of a notification could not be fetched.", cause);
    return null;
  }
}
