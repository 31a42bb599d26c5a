-- PatrolLook, too, is kept WITHOUT ROWID: it is little more than its key.
-- AlterTable
ALTER TABLE "Feeder" ADD COLUMN "steppedAt" DATETIME;

-- AlterTable
ALTER TABLE "Heartbeat" ADD COLUMN "seqs" TEXT;

-- AlterTable
ALTER TABLE "Refill" ADD COLUMN "toldAt" DATETIME;

-- CreateTable
CREATE TABLE "KeeperAct" (
    "feederId" TEXT NOT NULL,
    "at" DATETIME NOT NULL,
    "said" TEXT NOT NULL,

    PRIMARY KEY ("feederId", "at")
);

-- CreateTable
CREATE TABLE "PatrolLook" (
    "feederId" TEXT NOT NULL,
    "at" DATETIME NOT NULL,

    PRIMARY KEY ("feederId", "at")
) WITHOUT ROWID;

-- Feeders that are here already: from now on their record is whole, and these are the settings with which it begins.
INSERT INTO "KeeperAct" ("feederId", "at", "said")
SELECT "id", strftime('%Y-%m-%dT%H:%M:%f+00:00', 'now'), json_object('settings', json_object(
    'name', json_extract("state", '$.settings.name'),
    'food', json_extract("state", '$.settings.food'),
    'hopperCapacityGrams', json_extract("state", '$.settings.hopperCapacity'),
    'portionGrams', json_extract("state", '$.settings.portionMass'),
    'sensors', json_extract("state", '$.settings.sensors'),
    'battery', json_extract("state", '$.settings.battery'),
    'reportEverySeconds', json_extract("state", '$.settings.reportEvery') / 1000,
    'warnAheadDays', json_extract("state", '$.settings.warnAhead') / 86400000.0,
    'zone', json_extract("state", '$.settings.zone'),
    'place', json(coalesce(json_extract("state", '$.settings.place'), 'null')),
    'practice', json(iif(json_extract("state", '$.settings.practice'), 'true', 'false')),
    'noticesSensors', json(iif(json_extract("state", '$.settings.noticesSensors'), 'true', 'false'))
)) FROM "Feeder";
