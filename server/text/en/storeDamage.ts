/** What people read where the server's database is damaged. */
export const storeDamage = {
  titles: {
    damaged: "Pieward's database is damaged",
    missing: "Pieward's database is missing",
    commitsLost: "Pieward has lost what it stored last",
  },
  damaged: (moment: string) =>
    `The server's database is damaged (found ${moment}). Nothing is stored and no alarm is raised until a backup is restored. Feeders keep their events as long as they have room.`,
  missing: (moment: string) =>
    `The server's database is missing or empty (found ${moment}). The server doesn't start: nothing is stored and no alarm is raised until a backup is restored. Feeders keep their events as long as they have room.`,
  commitsLost: (moment: string, commits: number) =>
    `The newest data of the server is missing (found ${moment}, ${commits === 1 ? "1 change" : `${commits} changes`}). An older copy may have been restored. What feeders and people sent last before the restart may be missing.`,
  restore: (path: string, madeAt: string, command: string) =>
    `The newest tested backup is ${path} of ${madeAt}. To restore it, stop the server and run in its folder: ${command}`,
  restoreOther: (command: string) =>
    `No tested backup found on this server. To restore another one, stop the server and run in its folder: ${command}`,
  utc: (moment: string) => `${moment} UTC`,
};
