-- AlterTable
ALTER TABLE "Keeper" ADD COLUMN "nameKey" TEXT;

-- AlterTable
ALTER TABLE "Session" ADD COLUMN "device" TEXT NOT NULL DEFAULT '';

-- CreateTable
CREATE TABLE "PassphraseReset" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "expiresAt" DATETIME NOT NULL,
    CONSTRAINT "PassphraseReset_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateIndex
CREATE UNIQUE INDEX "Keeper_nameKey_key" ON "Keeper"("nameKey");

-- CreateIndex
CREATE INDEX "PassphraseReset_keeperId_idx" ON "PassphraseReset"("keeperId");

-- A session ends 30 days after its last use, and 180 days after its begin: so do those from before.
UPDATE "Session" SET "expiresAt" = min("expiresAt",
    strftime('%Y-%m-%dT%H:%M:%f+00:00', "lastSeenAt", '+30 days'),
    strftime('%Y-%m-%dT%H:%M:%f+00:00', "createdAt", '+180 days'));
