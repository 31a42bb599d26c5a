import { defineConfig } from "prisma/config";

/** Only for the `prisma` command. The server opens its database by its own settings (server/config.ts). */
export default defineConfig({
  schema: "prisma/sqlite",
  migrations: { path: "prisma/sqlite/migrations" },
});
