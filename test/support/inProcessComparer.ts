import { openRecordedLog } from "../../server/adapters/store/recordedLog.ts";
import { compareSettings } from "../../server/flows/compareSettings.ts";
import type { SettingsComparer } from "../../server/ports.ts";

/** Compares at once in the test's own thread, by the same steps. */
export const inProcessComparer = (databaseFile: string): SettingsComparer => ({
  async compare(request) {
    const log = openRecordedLog(databaseFile);
    try {
      return { kind: "compared", compared: await compareSettings(log, request) };
    } finally {
      log.close();
    }
  },
});
