-- AlterTable
ALTER TABLE "Feeder" ADD COLUMN "damagedState" TEXT;
ALTER TABLE "Feeder" ADD COLUMN "rebuiltAt" DATETIME;
