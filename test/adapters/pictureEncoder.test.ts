import sharp from "sharp";
import { describe, expect, it } from "vitest";
import { createPictureEncoder } from "../../server/adapters/pictureEncoder.ts";
import type { EncodedPicture } from "../../server/ports.ts";
import { jpegPicture, jpegWithPlace, pngPicture, webpPicture } from "../support/pictures.ts";

const { encode } = createPictureEncoder();

async function encoded(sent: Uint8Array): Promise<EncodedPicture> {
  const found = await encode(sent);
  if (typeof found === "string") throw new Error(`expected a picture, got ${found}`);
  return found;
}

describe("the sizes of a picture", () => {
  it.each([
    ["JPEG", jpegPicture],
    ["PNG", pngPicture],
    ["WebP", webpPicture],
  ])("are made of %s: at most 1600 and 320 pixels, as JPEG", async (_name, make) => {
    const { full, small, widthPixels, heightPixels } = await encoded(await make(2_000, 1_000));
    expect([widthPixels, heightPixels]).toEqual([1_600, 800]);
    expect(await sharp(full).metadata()).toMatchObject({ format: "jpeg", width: 1_600, height: 800 });
    expect(await sharp(small).metadata()).toMatchObject({ format: "jpeg", width: 320, height: 160 });
  });

  it("are never larger than what was sent", async () => {
    const { small, widthPixels } = await encoded(await jpegPicture(40, 30));
    expect([widthPixels, (await sharp(small).metadata()).width]).toEqual([40, 40]);
  });

  it("have no place, no name and no camera, and are upright", async () => {
    const sent = await jpegWithPlace();
    const before = await sharp(sent).metadata();
    expect([before.exif?.includes("Keeper of the croft"), before.orientation]).toEqual([true, 6]);
    const { full, small, widthPixels, heightPixels } = await encoded(sent);
    expect([widthPixels, heightPixels]).toEqual([30, 40]);
    for (const file of [full, small]) {
      expect(Buffer.from(file).includes("Exif")).toBe(false);
      expect(Buffer.from(file).includes("Keeper of the croft")).toBe(false);
      const { exif, xmp, iptc, orientation } = await sharp(file).metadata();
      expect([exif, xmp, iptc, orientation]).toEqual([undefined, undefined, undefined, undefined]);
    }
  });
});

describe("what is no picture that can be kept", () => {
  it("is one that ends too early", async () => {
    for (const whole of [await jpegPicture(400, 300), await pngPicture(400, 300), await webpPicture(400, 300)])
      expect(await encode(whole.subarray(0, Math.floor(whole.length * 0.6)))).toBe("unreadable");
  });

  it("is one of 30,000 x 30,000 pixels, which takes no memory", async () => {
    const small = await pngPicture(1, 1);
    const huge = Buffer.from(small);
    huge.writeUInt32BE(30_000, 16); // width and height are the first of IHDR (W3C PNG, 11.2.1)
    huge.writeUInt32BE(30_000, 20);
    const { crc32 } = await import("node:zlib");
    huge.writeUInt32BE(crc32(huge.subarray(12, 29)), 29);
    expect(await encode(huge)).toBe("tooManyPixels");
  });

  it("is a text", async () => {
    expect(await encode(Buffer.from("a jay"))).toBe("unreadable");
  });

  it("doesn't stop the next one", async () => {
    const [bad, good] = await Promise.all([encode(Buffer.from("a jay")), jpegPicture().then(encode)]);
    expect([bad, typeof good]).toEqual(["unreadable", "object"]);
  });
});
