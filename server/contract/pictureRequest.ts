import { z } from "zod";

/** Which of the stored sizes: `full` has at most 1600 pixels on its longer side, `small` 320. */
export const pictureQuery = z.strictObject({
  size: z.enum(["full", "small"], "must be full or small").default("full"),
});
