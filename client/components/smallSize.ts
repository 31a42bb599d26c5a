/** Of the small size of a picture; the server makes it. */
const smallPixelsMax = 320;

/** Known before it is loaded, so that nothing moves. */
export function smallSize(full: { readonly widthPixels: number; readonly heightPixels: number }) {
  const scale = Math.min(1, smallPixelsMax / Math.max(full.widthPixels, full.heightPixels));
  return { width: Math.round(full.widthPixels * scale), height: Math.round(full.heightPixels * scale) };
}
