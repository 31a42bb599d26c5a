/** How many pictures a yard has, and how many octets their files take. */
export interface PictureUsage {
  readonly pictures: number;
  readonly bytes: number;
}

/** Our choice: many years of notes, and a small part of a usual memory card. */
export const pictureQuota: PictureUsage = { pictures: 5_000, bytes: 2 * 1024 ** 3 };

/** From this share on, people are told before pictures are refused. Our choice. */
const noticedFrom = 0.8;

/** How full the yard's space is: by the larger of the two shares, from 0; above 1 after the quota was made smaller. */
export const usedShare = (used: PictureUsage, most: PictureUsage = pictureQuota): number =>
  Math.max(used.pictures / most.pictures, used.bytes / most.bytes);

export const isNearlyFull = (used: PictureUsage, most: PictureUsage = pictureQuota): boolean =>
  usedShare(used, most) >= noticedFrom;

/** Whether a picture of so many octets is still within the quota. */
export const hasSpace = (used: PictureUsage, bytes: number, most: PictureUsage = pictureQuota): boolean =>
  used.pictures < most.pictures && used.bytes + bytes <= most.bytes;
