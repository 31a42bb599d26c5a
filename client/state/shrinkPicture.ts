/** The longer side of what is sent. The server stores no more (server/adapters/pictureEncoder.ts). */
const sidePixelsMax = 1_600;
const quality = 0.85;
/** What the server takes. */
const sentBytesMax = 8 * 1024 * 1024;

/** The size at which a picture fits into the square of `most` pixels, never larger than it is. */
export function fittedSize(
  width: number,
  height: number,
  most: number,
): { readonly width: number; readonly height: number } {
  const scale = Math.min(1, most / Math.max(width, height));
  return { width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale)) };
}

/**
 * Makes a photograph small before it is sent, upright and without its metadata: a phone's own is ten times as large, and may say where
 * it was taken. One that this browser can't read is sent as it is, for the server to judge.
 * @returns null where that would be too large
 */
export async function shrinkPicture(file: Blob): Promise<Blob | null> {
  const small = await shrunk(file).catch((cause: unknown) => {
    console.warn("A photograph could not be made smaller.", cause);
    return null;
  });
  if (small !== null) return small;
  return file.size <= sentBytesMax ? file : null;
}

async function shrunk(file: Blob): Promise<Blob | null> {
  const bitmap = await createImageBitmap(file, { imageOrientation: "from-image" });
  try {
    const canvas = document.createElement("canvas");
    const { width, height } = fittedSize(bitmap.width, bitmap.height, sidePixelsMax);
    Object.assign(canvas, { width, height });
    const context = canvas.getContext("2d");
    if (context === null) return null;
    context.fillStyle = "white"; // behind what is transparent, since JPEG has no transparency
    context.fillRect(0, 0, width, height);
    context.drawImage(bitmap, 0, 0, width, height);
    return await new Promise<Blob | null>((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
  } finally {
    bitmap.close();
  }
}
