import Fastify from "fastify";

/** Fastify alone, as the ceiling: it parses the body and answers, and does nothing else. */
const app = Fastify({ bodyLimit: 1_048_576 });
app.post("/api/v1/report", (request) => {
  const { events } = request.body as { events: unknown[] };
  return { storedThrough: events.length, duplicates: 0, refused: [], orders: [] };
});
const address = await app.listen({ port: Number(process.env.PORT ?? 0), host: "127.0.0.1" });
process.stdout.write(`READY ${address}\n`);
process.on("SIGTERM", () => void app.close().then(() => process.exit(0)));
