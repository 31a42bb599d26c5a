import type { Phone } from "../../server/ports.ts";
import { InMemoryOutbox } from "./memoryOutbox.ts";
import { describeOutboxStore, type OutboxUnderTest } from "./outboxContract.ts";
import { describeOutboxSharing } from "./outboxSharing.ts";
import { phoneFixture } from "./phoneFixture.ts";

const inMemory = async (): Promise<OutboxUnderTest> => {
  const store = new InMemoryOutbox();
  const phones: Phone[] = [];
  return {
    store,
    async addPhone(label) {
      const phone = phoneFixture({ id: label, label });
      phones.push(phone);
      store.addPhone(phone);
      return phone;
    },
    phone: async (id) => store.phone(id),
    enqueueEmail: async (content, now) => store.enqueueEmail("keeper", "ada@alder.example", "rowan", content, now),
    async enqueue(content, now, about = "feeder") {
      for (const phone of phones) store.enqueue(phone, about === "feeder" ? "rowan" : null, content, now);
    },
  };
};

describeOutboxStore("memory", inMemory);
describeOutboxSharing("memory", inMemory);
