import type { Sharp } from "sharp";
import type { EncodedPicture, PictureEncoder } from "../ports.ts";

/** As the phone sends it (client/components/shrinkPicture.ts). */
const fullPixelsMax = 1_600;
const smallPixelsMax = 320;
/** Such a picture takes up to 96 MiB while it is read (4 octets a pixel), on a board that may have 512 MiB. Our choice. */
const pixelsMax = 24_000_000;
const quality = 80;

/**
 * The library is loaded with the first picture, so that a server without pictures needs no memory for it. One picture at a time, with one
 * thread: reports go first.
 */
export function createPictureEncoder(): PictureEncoder {
  let last: Promise<unknown> = Promise.resolve();
  return {
    encode(sent) {
      const next = last.then(() => encodeNow(sent));
      last = next.catch(() => undefined); // who sent it is told; the next one doesn't wait for that
      return next;
    },
  };
}

async function encodeNow(sent: Uint8Array): ReturnType<PictureEncoder["encode"]> {
  const { default: sharp } = await import("sharp");
  sharp.concurrency(1);
  sharp.cache(false);
  // Also a picture that ends too early is refused: the rest would be grey.
  const open = () => sharp(sent, { limitInputPixels: pixelsMax, failOn: "truncated", autoOrient: true });
  try {
    const { width, height } = await open().metadata();
    if (width * height > pixelsMax) return "tooManyPixels";
    return await encodeSizes(open);
  } catch (error) {
    if (!(error instanceof Error)) throw error;
    return /pixel limit|too large/i.test(error.message) ? "tooManyPixels" : "unreadable";
  }
}

async function encodeSizes(open: () => Sharp): Promise<EncodedPicture> {
  const { data: full, info } = await resized(open(), fullPixelsMax).toBuffer({ resolveWithObject: true });
  const small = await resized(open(), smallPixelsMax).toBuffer();
  return { full, small, widthPixels: info.width, heightPixels: info.height };
}

/** Metadata are left out, as long as nothing asks to keep them. */
const resized = (picture: Sharp, most: number): Sharp =>
  picture
    .resize({ width: most, height: most, fit: "inside", withoutEnlargement: true })
    .flatten({ background: "white" })
    .jpeg({ quality });
