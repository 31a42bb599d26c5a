-- The tables that grow without end, and the snapshots, have no rowid: one tree in the order of each feeder's history.
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
    "escalateMinutes" INTEGER NOT NULL DEFAULT 15,
    "diseaseNoticeAt" DATETIME,
    "diseaseNoticeBy" TEXT,
    "stillsKeptDays" INTEGER NOT NULL DEFAULT 30,
    "createdAt" DATETIME NOT NULL
);

-- CreateTable
CREATE TABLE "Keeper" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "name" TEXT NOT NULL,
    "nameKey" TEXT NOT NULL,
    "passphraseHash" TEXT NOT NULL,
    "email" TEXT,
    "emailSince" DATETIME,
    "createdAt" DATETIME NOT NULL
);

-- CreateTable
CREATE TABLE "Member" (
    "yardId" TEXT NOT NULL,
    "keeperId" TEXT NOT NULL,
    "role" TEXT NOT NULL,
    "escalationOrder" INTEGER NOT NULL,
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
CREATE TABLE "Session" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "lastSeenAt" DATETIME NOT NULL,
    "expiresAt" DATETIME NOT NULL,
    "device" TEXT NOT NULL DEFAULT '',
    CONSTRAINT "Session_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "PassphraseReset" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "expiresAt" DATETIME NOT NULL,
    CONSTRAINT "PassphraseReset_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Passkey" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "credentialId" TEXT NOT NULL,
    "publicKey" TEXT NOT NULL,
    "counter" BIGINT NOT NULL,
    "transports" TEXT NOT NULL,
    "label" TEXT NOT NULL,
    "synced" BOOLEAN NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "lastUsedAt" DATETIME,
    CONSTRAINT "Passkey_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "FirstSignIn" (
    "tokenHash" TEXT NOT NULL PRIMARY KEY,
    "createdAt" DATETIME NOT NULL,
    "usedAt" DATETIME
);

-- CreateTable
CREATE TABLE "Feeder" (
    "no" INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    "id" TEXT NOT NULL,
    "yardId" TEXT NOT NULL,
    "keyHash" TEXT NOT NULL,
    "name" TEXT NOT NULL,
    "practice" BOOLEAN NOT NULL DEFAULT false,
    "createdAt" DATETIME NOT NULL,
    "damagedState" BLOB,
    "rebuiltAt" DATETIME,
    CONSTRAINT "Feeder_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "FeederHead" (
    "feederNo" INTEGER NOT NULL PRIMARY KEY,
    "revision" INTEGER NOT NULL,
    "lastReportAt" BIGINT,
    "lastStepAt" BIGINT,
    "nextCheckAt" BIGINT NOT NULL
);

-- CreateTable
CREATE TABLE "Snapshot" (
    "feederNo" INTEGER NOT NULL,
    "slot" INTEGER NOT NULL,
    "step" INTEGER NOT NULL,
    "state" BLOB NOT NULL,

    PRIMARY KEY ("feederNo", "slot")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "LogLine" (
    "feederNo" INTEGER NOT NULL,
    "step" INTEGER NOT NULL,
    "at" BIGINT NOT NULL,
    "kind" INTEGER NOT NULL,
    "boot" TEXT,
    "sentUptimeMs" BIGINT,
    "seqs" TEXT,
    "bootedAt" BIGINT,
    "firstEventAt" BIGINT,
    "lastEventAt" BIGINT,
    "recalled" TEXT,
    "entry" TEXT,
    "readings" TEXT,
    "events" TEXT,

    PRIMARY KEY ("feederNo", "step")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "LogPack" (
    "feederNo" INTEGER NOT NULL,
    "firstStep" INTEGER NOT NULL,
    "lastStep" INTEGER NOT NULL,
    "firstAt" BIGINT NOT NULL,
    "lastAt" BIGINT NOT NULL,
    "firstEventAt" BIGINT,
    "lastEventAt" BIGINT,
    "thinned" BOOLEAN NOT NULL DEFAULT false,
    "boots" TEXT NOT NULL,
    "lines" BLOB NOT NULL,
    "readings" BLOB,

    PRIMARY KEY ("feederNo", "firstStep")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "Rollup" (
    "feederNo" INTEGER NOT NULL,
    "span" INTEGER NOT NULL,
    "from" BIGINT NOT NULL,
    "rollup" BLOB NOT NULL,

    PRIMARY KEY ("feederNo", "span", "from")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "AlarmChange" (
    "feederId" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "place" INTEGER NOT NULL,
    "fault" TEXT NOT NULL,
    "priority" TEXT NOT NULL,
    "from" TEXT NOT NULL,
    "to" TEXT NOT NULL,
    "reason" TEXT NOT NULL,
    "present" BOOLEAN NOT NULL DEFAULT true,

    PRIMARY KEY ("feederId", "at", "place")
) WITHOUT ROWID;

-- CreateTable
CREATE TABLE "Escalation" (
    "topic" TEXT NOT NULL PRIMARY KEY,
    "yardId" TEXT NOT NULL,
    "feederId" TEXT,
    "state" TEXT NOT NULL,
    "nextAt" DATETIME,
    CONSTRAINT "Escalation_yardId_fkey" FOREIGN KEY ("yardId") REFERENCES "Yard" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "Order" (
    "id" TEXT NOT NULL,
    "feederId" TEXT NOT NULL,
    "kind" TEXT NOT NULL,
    "until" DATETIME,
    "requestedAt" DATETIME NOT NULL,
    "requestedBy" TEXT NOT NULL,
    "status" TEXT NOT NULL,
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
CREATE TABLE "ProgrammeChange" (
    "yardId" TEXT NOT NULL,
    "id" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "by" TEXT NOT NULL,
    "reason" TEXT NOT NULL,
    "content" TEXT NOT NULL,
    "plansBefore" TEXT NOT NULL,
    "undoneAt" DATETIME,
    "undoneBy" TEXT,

    PRIMARY KEY ("yardId", "id")
);

-- CreateTable
CREATE TABLE "Note" (
    "yardId" TEXT NOT NULL,
    "id" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "by" TEXT NOT NULL,
    "text" TEXT NOT NULL,
    "feederId" TEXT,
    "stage" TEXT,
    "changedAt" DATETIME,
    "stillId" TEXT,
    "boot" TEXT,
    "seq" BIGINT,
    "capsOnDish" INTEGER,

    PRIMARY KEY ("yardId", "id")
);

-- CreateTable
CREATE TABLE "Picture" (
    "yardId" TEXT NOT NULL,
    "id" TEXT NOT NULL,
    "noteId" TEXT NOT NULL,
    "addedAt" DATETIME NOT NULL,
    "by" TEXT NOT NULL,
    "widthPixels" INTEGER NOT NULL,
    "heightPixels" INTEGER NOT NULL,
    "bytes" BIGINT NOT NULL,

    PRIMARY KEY ("yardId", "id")
);

-- CreateTable
CREATE TABLE "Still" (
    "yardId" TEXT NOT NULL,
    "id" TEXT NOT NULL,
    "feederId" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "addedAt" DATETIME NOT NULL,
    "boot" TEXT,
    "seq" BIGINT,
    "eventKind" TEXT,
    "payment" TEXT,
    "starred" BOOLEAN NOT NULL DEFAULT false,
    "who" TEXT,
    "brought" TEXT,
    "widthPixels" INTEGER NOT NULL,
    "heightPixels" INTEGER NOT NULL,
    "bytes" BIGINT NOT NULL,

    PRIMARY KEY ("yardId", "id")
);

-- CreateTable
CREATE TABLE "ExportKey" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "keeperId" TEXT NOT NULL,
    "keyHash" TEXT NOT NULL,
    "name" TEXT NOT NULL,
    "createdAt" DATETIME NOT NULL,
    "expiresAt" DATETIME NOT NULL,
    "lastUsedAt" DATETIME,
    CONSTRAINT "ExportKey_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

-- CreateTable
CREATE TABLE "ActionId" (
    "feederId" TEXT NOT NULL,
    "id" TEXT NOT NULL,
    "at" DATETIME NOT NULL,

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
    "lastDisplayedAt" DATETIME,
    "problem" TEXT,
    "endpointSince" DATETIME,
    "blockedAt" DATETIME,
    CONSTRAINT "Phone_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE
);

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

-- CreateTable
CREATE TABLE "OutboxItem" (
    "id" TEXT NOT NULL PRIMARY KEY,
    "channel" TEXT NOT NULL DEFAULT 'push',
    "keeperId" TEXT NOT NULL,
    "phoneId" TEXT,
    "yardId" TEXT,
    "feederId" TEXT,
    "topic" TEXT NOT NULL,
    "content" TEXT NOT NULL,
    "isClosing" BOOLEAN NOT NULL DEFAULT false,
    "writtenAt" DATETIME NOT NULL,
    "status" TEXT NOT NULL DEFAULT 'waiting',
    "dueAt" DATETIME NOT NULL,
    "claimedUntil" DATETIME,
    "attempts" INTEGER NOT NULL DEFAULT 0,
    "mayHaveArrived" BOOLEAN NOT NULL DEFAULT false,
    "sentTo" TEXT,
    "settledAt" DATETIME,
    "displayedAt" DATETIME,
    "problem" TEXT,
    CONSTRAINT "OutboxItem_keeperId_fkey" FOREIGN KEY ("keeperId") REFERENCES "Keeper" ("id") ON DELETE CASCADE ON UPDATE CASCADE,
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
CREATE INDEX "Note_yardId_at_idx" ON "Note"("yardId", "at");

-- CreateIndex
CREATE INDEX "Picture_yardId_noteId_idx" ON "Picture"("yardId", "noteId");

-- CreateIndex
CREATE INDEX "Still_yardId_at_idx" ON "Still"("yardId", "at");

-- CreateIndex
CREATE INDEX "Still_feederId_addedAt_idx" ON "Still"("feederId", "addedAt");

-- CreateIndex
CREATE INDEX "Still_addedAt_idx" ON "Still"("addedAt");

-- CreateIndex
CREATE UNIQUE INDEX "ExportKey_keyHash_key" ON "ExportKey"("keyHash");

-- CreateIndex
CREATE INDEX "ExportKey_keeperId_idx" ON "ExportKey"("keeperId");

-- CreateIndex
CREATE UNIQUE INDEX "Keeper_name_key" ON "Keeper"("name");

-- CreateIndex
CREATE UNIQUE INDEX "Keeper_nameKey_key" ON "Keeper"("nameKey");

-- CreateIndex
CREATE INDEX "Member_keeperId_idx" ON "Member"("keeperId");

-- CreateIndex
CREATE INDEX "Invite_yardId_idx" ON "Invite"("yardId");

-- CreateIndex
CREATE INDEX "Invite_expiresAt_idx" ON "Invite"("expiresAt");

-- CreateIndex
CREATE INDEX "Session_keeperId_idx" ON "Session"("keeperId");

-- CreateIndex
CREATE INDEX "PassphraseReset_keeperId_idx" ON "PassphraseReset"("keeperId");

-- CreateIndex
CREATE UNIQUE INDEX "Passkey_credentialId_key" ON "Passkey"("credentialId");

-- CreateIndex
CREATE INDEX "Passkey_keeperId_idx" ON "Passkey"("keeperId");

-- CreateIndex
CREATE UNIQUE INDEX "Feeder_id_key" ON "Feeder"("id");

-- CreateIndex
CREATE UNIQUE INDEX "Feeder_keyHash_key" ON "Feeder"("keyHash");

-- CreateIndex
CREATE INDEX "Feeder_yardId_idx" ON "Feeder"("yardId");

-- CreateIndex
CREATE INDEX "LogPack_thinned_lastAt_idx" ON "LogPack"("thinned", "lastAt");

-- CreateIndex
CREATE INDEX "Escalation_yardId_idx" ON "Escalation"("yardId");

-- CreateIndex
CREATE INDEX "Escalation_nextAt_idx" ON "Escalation"("nextAt");

-- CreateIndex
CREATE INDEX "Order_feederId_requestedAt_idx" ON "Order"("feederId", "requestedAt");

-- CreateIndex
CREATE INDEX "Refill_feederId_at_idx" ON "Refill"("feederId", "at");

-- CreateIndex
CREATE INDEX "ActionId_at_idx" ON "ActionId"("at");

-- CreateIndex
CREATE UNIQUE INDEX "Phone_endpoint_key" ON "Phone"("endpoint");

-- CreateIndex
CREATE INDEX "Phone_keeperId_idx" ON "Phone"("keeperId");

-- CreateIndex
CREATE INDEX "GonePhone_keeperId_idx" ON "GonePhone"("keeperId");

-- CreateIndex
CREATE INDEX "GonePhone_goneAt_idx" ON "GonePhone"("goneAt");

-- CreateIndex
CREATE INDEX "OutboxItem_status_dueAt_idx" ON "OutboxItem"("status", "dueAt");

-- CreateIndex
CREATE INDEX "OutboxItem_keeperId_topic_idx" ON "OutboxItem"("keeperId", "topic");

-- CreateIndex
CREATE INDEX "OutboxItem_phoneId_idx" ON "OutboxItem"("phoneId");

-- CreateIndex
CREATE INDEX "OutboxItem_settledAt_idx" ON "OutboxItem"("settledAt");

-- The row 0 counts the commits of the database.
INSERT INTO "FeederHead" ("feederNo", "revision", "nextCheckAt") VALUES (0, 0, 0);
