/** What a picture is, by its first octets: a name or a stated type says nothing about the content. */
export type PictureKind = "jpeg" | "png" | "webp";

/** @returns null for anything else. Signatures: ITU-T T.81 (SOI and the next marker), W3C PNG 5.2, RFC 9649 section 2.4 (WebP). */
export function pictureKindOf(octets: Uint8Array): PictureKind | null {
  if (startsWith(octets, [0xff, 0xd8, 0xff])) return "jpeg";
  if (startsWith(octets, [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a])) return "png";
  const isRiff = startsWith(octets, [0x52, 0x49, 0x46, 0x46]);
  return isRiff && startsWith(octets.subarray(8), [0x57, 0x45, 0x42, 0x50]) ? "webp" : null;
}

const startsWith = (octets: Uint8Array, by: readonly number[]): boolean =>
  octets.length >= by.length && by.every((octet, at) => octets[at] === octet);
