import sharp, { type Sharp } from "sharp";

/** Pictures as a phone or a stranger may send them. */

const plain = (width: number, height: number): Sharp =>
  sharp({ create: { width, height, channels: 3, background: { r: 40, g: 90, b: 160 } } });

export const jpegPicture = (width = 40, height = 30): Promise<Buffer> => plain(width, height).jpeg().toBuffer();
export const pngPicture = (width = 40, height = 30): Promise<Buffer> => plain(width, height).png().toBuffer();
export const webpPicture = (width = 40, height = 30): Promise<Buffer> => plain(width, height).webp().toBuffer();

/** Taken with the phone held upright, at a place: both are in its EXIF. */
export const jpegWithPlace = (): Promise<Buffer> =>
  plain(40, 30)
    .jpeg()
    .withMetadata({ orientation: 6 })
    .withExifMerge({
      IFD0: { Artist: "Keeper of the croft" },
      IFD3: { GPSLatitudeRef: "N", GPSLatitude: "59/1 30/1 0/1", GPSLongitudeRef: "E", GPSLongitude: "17/1 48/1 0/1" },
    })
    .toBuffer();
