-- Event and Heartbeat are kept WITHOUT ROWID: one tree, in the order of a feeder's own history, halves the writing.
-- CreateTable
CREATE TABLE "Yard" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "name" TEXT NOT NULL,
    "zone" TEXT NOT NULL,
    "latitudeDegrees" REAL,
    "longitudeDegrees" REAL,
    "digestTime" TEXT NOT NULL DEFAULT '07:30',
    "digestWanted" BOOLEAN NOT NULL DEFAULT true,
    "practice" BOOLEAN NOT NULL DEFAULT false,
    "createdAt" DATETIME NOT NULL
);

-- CreateTable
CREATE TABLE "Keeper" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "name" TEXT NOT NULL,
    "passphraseHash" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL
);

-- CreateTable
CREATE TABLE "Session" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "lastSeenAt" DATETIME NOT NULL,
    "expiresAt" DATETIME NOT NULL,
    CONSTRAINT "Session_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Claim" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "createdAt" DATETIME NOT NULL,
    "usedAt" DATETIME
);

-- CreateTable
CREATE TABLE "Feeder" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "yardId" TEXT NOT NULL,
    "keyHash" TEXT NOT NULL,
    "practice" BOOLEAN NOT NULL DEFAULT false,
    "revision" INTEGER NOT NULL DEFAULT 0,
    "state" TEXT NOT NULL,
    "lastHeardAt" DATETIME,
    "nextLookAt" DATETIME NOT NULL,
    "createdAt" DATETIME NOT NULL,
    CONSTRAINT "Feeder_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Event" (
    "feederId" TEXT NOT NULL,
    "boot" TEXT NOT NULL,
    "seq" BIGINT NOT NULL,
    "kind" TEXT NOT NULL,
    "receivedAt" DATETIME NOT NULL,
    "recordedAt" DATETIME NOT NULL,
    "body" TEXT NOT NULL,

    PRIMARY KEY ("feederId", "boot", "seq")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "Heartbeat" (
    "feederId" TEXT NOT NULL,
    "receivedAt" DATETIME NOT NULL,
    "boot" TEXT NOT NULL,
    "sentUptimeMs" BIGINT,
    "readings" TEXT NOT NULL,

    PRIMARY KEY ("feederId", "receivedAt", "boot")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "AlarmChange" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "feederId" TEXT NOT NULL,
    "fault" TEXT NOT NULL,
    "priority" TEXT NOT NULL,
    "from" TEXT NOT NULL,
    "to" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "reason" TEXT NOT NULL
);

-- CreateTable
CREATE TABLE "Order" (
    "id" TEXT NOT NULL,
    "feederId" TEXT NOT NULL,
    "kind" TEXT NOT NULL,
    "until" DATETIME,
    "askedAt" DATETIME NOT NULL,
    "askedBy" TEXT NOT NULL,
    "phase" TEXT NOT NULL,
    "sentAt" DATETIME,
    "answeredAt" DATETIME,
    "problem" TEXT,

    PRIMARY KEY ("feederId", "id")
);

-- CreateTable
CREATE TABLE "Refill" (
    "id" TEXT NOT NULL,
    "feederId" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "grams" REAL,
    "source" TEXT NOT NULL,
    "by" TEXT,

    PRIMARY KEY ("feederId", "id")
);

-- CreateTable
CREATE TABLE "Phone" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "endpoint" TEXT NOT NULL,
    "p256dh" TEXT NOT NULL,
    "auth" TEXT NOT NULL,
    "label" TEXT NOT NULL,
    "addedAt" DATETIME NOT NULL,
    "lastAcceptedAt" DATETIME,
    "problem" TEXT,
    CONSTRAINT "Phone_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "OutboxItem" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "phoneId" TEXT NOT NULL,
    "feederId" TEXT,
    "topic" TEXT NOT NULL,
    "notice" TEXT NOT NULL,
    "writtenAt" DATETIME NOT NULL,
    "phase" TEXT NOT NULL DEFAULT 'waiting',
    "dueAt" DATETIME NOT NULL,
    "claimedUntil" DATETIME,
    "attempts" INTEGER NOT NULL DEFAULT 0,
    "settledAt" DATETIME,
    "problem" TEXT,
    CONSTRAINT "OutboxItem_phoneId_fkey" FOREIGN KEY ("phoneId") REFERENCES "Phone" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Digest" (
    "yardId" TEXT NOT NULL,
    "localDate" TEXT NOT NULL,
    "writtenAt" DATETIME NOT NULL,
    "title" TEXT NOT NULL,
    "lines" TEXT NOT NULL,

    PRIMARY KEY ("yardId", "localDate"),
    CONSTRAINT "Digest_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateIndex
CREATE UNIQUE INDEX "Keeper_name_key" ON "Keeper"("name");

-- CreateIndex
CREATE INDEX "Session_keeperId_idx" ON "Session"("keeperId");

-- CreateIndex
CREATE UNIQUE INDEX "Feeder_keyHash_key" ON "Feeder"("keyHash");

-- CreateIndex
CREATE INDEX "Feeder_yardId_idx" ON "Feeder"("yardId");

-- CreateIndex
CREATE INDEX "Feeder_nextLookAt_idx" ON "Feeder"("nextLookAt");

-- CreateIndex
CREATE INDEX "Event_feederId_recordedAt_idx" ON "Event"("feederId", "recordedAt");

-- CreateIndex
CREATE INDEX "AlarmChange_feederId_at_idx" ON "AlarmChange"("feederId", "at");

-- CreateIndex
CREATE INDEX "Order_feederId_askedAt_idx" ON "Order"("feederId", "askedAt");

-- CreateIndex
CREATE INDEX "Refill_feederId_at_idx" ON "Refill"("feederId", "at");

-- CreateIndex
CREATE UNIQUE INDEX "Phone_endpoint_key" ON "Phone"("endpoint");

-- CreateIndex
CREATE INDEX "Phone_keeperId_idx" ON "Phone"("keeperId");

-- CreateIndex
CREATE INDEX "OutboxItem_phase_dueAt_idx" ON "OutboxItem"("phase", "dueAt");

-- CreateIndex
CREATE INDEX "OutboxItem_phoneId_topic_phase_idx" ON "OutboxItem"("phoneId", "topic", "phase");

