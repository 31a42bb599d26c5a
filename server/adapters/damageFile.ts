import { existsSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { z } from "zod";
import type { Instant } from "../domain/instant.ts";
import type { DamageFile } from "../ports.ts";

const schema = z.object({
  phones: z.array(
    z.object({
      id: z.string(),
      keeper: z.string(),
      label: z.string(),
      endpoint: z.string(),
      p256dh: z.string(),
      auth: z.string(),
    }),
  ),
  addresses: z.array(z.string()),
  notifiedAt: z.record(
    z.string(),
    z.number().transform((at) => at as Instant),
  ),
});

/** Who is notified of damage where the database can't be read. It holds less than the database beside it, and is as private. */
export function openDamageFile(dataDir: string): DamageFile {
  const path = join(dataDir, "damage-recipients.json");
  return {
    read() {
      if (!existsSync(path)) return null;
      try {
        return schema.parse(JSON.parse(readFileSync(path, "utf8")));
      } catch (error) {
        if (error instanceof SyntaxError || error instanceof z.ZodError) return null; // it is written again from the database
        throw error;
      }
    },
    write(recipients) {
      writeFileSync(`${path}.new`, JSON.stringify(recipients), { mode: 0o600, flush: true });
      renameSync(`${path}.new`, path);
    },
  };
}
