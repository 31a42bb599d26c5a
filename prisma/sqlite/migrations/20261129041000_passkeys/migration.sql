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

-- CreateIndex
CREATE UNIQUE INDEX "Passkey_credentialId_key" ON "Passkey"("credentialId");

-- CreateIndex
CREATE INDEX "Passkey_keeperId_idx" ON "Passkey"("keeperId");
