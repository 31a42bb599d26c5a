-- AlterTable
ALTER TABLE "Keeper" ADD COLUMN "mailSince" DATETIME;

-- AlterTable
ALTER TABLE "OutboxItem" ADD COLUMN "sentTo" TEXT;

-- AlterTable
ALTER TABLE "Phone" ADD COLUMN "blockedAt" DATETIME;
ALTER TABLE "Phone" ADD COLUMN "endpointSince" DATETIME;

-- CreateTable
CREATE TABLE "GonePhone" (
    "endpoint" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "goneAt" DATETIME NOT NULL,
    "phoneId" TEXT,
    "label" TEXT NOT NULL,
    "addedAt" DATETIME NOT NULL,
    CONSTRAINT "GonePhone_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateIndex
CREATE INDEX "GonePhone_keeperId_idx" ON "GonePhone"("keeperId");

-- CreateIndex
CREATE INDEX "GonePhone_goneAt_idx" ON "GonePhone"("goneAt");
