-- Columns are added in place where a default allows it: a redefined table is dropped, and inside a transaction, where foreign
-- keys can't be switched off, that would take every yard's feeders along.
-- AlterTable
ALTER TABLE "Keeper" ADD COLUMN "mail" TEXT;

-- AlterTable
ALTER TABLE "Phone" ADD COLUMN "lastShownAt" DATETIME;

-- CreateTable
CREATE TABLE "Member" (
    "yardId" TEXT NOT NULL,
    "keeperId" TEXT NOT NULL,
    "role" TEXT NOT NULL,
    "turn" INTEGER NOT NULL,
    "quietFrom" TEXT,
    "quietTo" TEXT,
    "urgentBreaks" BOOLEAN NOT NULL DEFAULT true,
    "digestBy" TEXT NOT NULL DEFAULT 'push',
    "createdAt" DATETIME NOT NULL,

    PRIMARY KEY ("yardId", "keeperId"),
    CONSTRAINT "Member_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE,
    CONSTRAINT "Member_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Invite" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "yardId" TEXT NOT NULL,
    "role" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "expiresAt" DATETIME NOT NULL,
    "usedAt" DATETIME,
    CONSTRAINT "Invite_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Call" (
    "topic" TEXT NOT NULL PRIMARY KEY,
    "yardId" TEXT NOT NULL,
    "feederId" TEXT,
    "state" TEXT NOT NULL,
    "nextAt" DATETIME,
    CONSTRAINT "Call_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "ActId" (
    "feederId" TEXT NOT NULL,
    "id" TEXT NOT NULL,
    "at" DATETIME NOT NULL,

    PRIMARY KEY ("feederId", "id")
);

-- AlterTable
ALTER TABLE "AlarmChange" ADD COLUMN "present" BOOLEAN NOT NULL DEFAULT true;

-- AlterTable
ALTER TABLE "Yard" ADD COLUMN "escalateMinutes" INTEGER NOT NULL DEFAULT 15;

-- RedefineTable: nothing refers to this one.
CREATE TABLE "new_OutboxItem" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "channel" TEXT NOT NULL DEFAULT 'push',
    "keeperId" TEXT NOT NULL,
    "phoneId" TEXT,
    "yardId" TEXT,
    "feederId" TEXT,
    "topic" TEXT NOT NULL,
    "notice" TEXT NOT NULL,
    "closes" BOOLEAN NOT NULL DEFAULT false,
    "writtenAt" DATETIME NOT NULL,
    "phase" TEXT NOT NULL DEFAULT 'waiting',
    "dueAt" DATETIME NOT NULL,
    "claimedUntil" DATETIME,
    "attempts" INTEGER NOT NULL DEFAULT 0,
    "unsure" BOOLEAN NOT NULL DEFAULT false,
    "settledAt" DATETIME,
    "shownAt" DATETIME,
    "problem" TEXT,
    CONSTRAINT "OutboxItem_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE,
    CONSTRAINT "OutboxItem_phoneId_fkey" FOREIGN KEY ("phoneId") REFERENCES "Phone" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);
INSERT INTO "new_OutboxItem" ("id", "channel", "keeperId", "phoneId", "yardId", "feederId", "topic", "notice", "writtenAt",
    "phase", "dueAt", "claimedUntil", "attempts", "settledAt", "problem")
SELECT "OutboxItem"."id", 'push', "Phone"."keeperId", "OutboxItem"."phoneId", "Feeder"."yardId", "OutboxItem"."feederId",
    "topic", "notice", "writtenAt", "phase", "dueAt", "claimedUntil", "attempts", "settledAt", "OutboxItem"."problem"
FROM "OutboxItem" JOIN "Phone" ON "Phone"."id" = "OutboxItem"."phoneId"
LEFT JOIN "Feeder" ON "Feeder"."id" = "OutboxItem"."feederId";
DROP TABLE "OutboxItem";
ALTER TABLE "new_OutboxItem" RENAME TO "OutboxItem";
CREATE INDEX "OutboxItem_phase_dueAt_idx" ON "OutboxItem"("phase", "dueAt");
CREATE INDEX "OutboxItem_keeperId_topic_idx" ON "OutboxItem"("keeperId", "topic");
CREATE INDEX "OutboxItem_phoneId_idx" ON "OutboxItem"("phoneId");
CREATE INDEX "OutboxItem_settledAt_idx" ON "OutboxItem"("settledAt");

-- CreateIndex
CREATE INDEX "Member_keeperId_idx" ON "Member"("keeperId");

-- CreateIndex
CREATE INDEX "Invite_yardId_idx" ON "Invite"("yardId");

-- CreateIndex
CREATE INDEX "Invite_expiresAt_idx" ON "Invite"("expiresAt");

-- CreateIndex
CREATE INDEX "Call_yardId_idx" ON "Call"("yardId");

-- CreateIndex
CREATE INDEX "Call_nextAt_idx" ON "Call"("nextAt");

-- CreateIndex
CREATE INDEX "ActId_at_idx" ON "ActId"("at");

-- Until now every keeper of the house kept every yard, and all were told together: that stays so until they say otherwise.
INSERT INTO "Member" ("yardId", "keeperId", "role", "turn", "createdAt")
SELECT "Yard"."id", "Keeper"."id", 'keeper', 1, strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now') FROM "Yard", "Keeper";
