import { describe, expect, it } from "vitest";
import { relyingParty } from "../../server/flows/relyingParty.ts";

describe("where passkeys work", () => {
  it("is the public address, if it has HTTPS and a host name, whatever the request's own address", () => {
    const own = { id: "pies.example", origin: "https://pies.example" };
    expect(relyingParty("https://pies.example", "https://pies.example")).toEqual(own);
    expect(relyingParty("https://pies.example", "http://192.168.1.20:8080")).toEqual(own);
    expect(relyingParty("https://pies.example", "https://other.example")).toEqual(own);
    expect(relyingParty("https://pies.example", "http://localhost:8080")).toEqual(own);
    expect(relyingParty("https://pies.example:8443/notebook", "")?.origin).toBe("https://pies.example:8443");
  });

  it("is localhost, where no public address is set and the request came there", () => {
    const local = { id: "localhost", origin: "http://localhost:8080" };
    expect(relyingParty(null, "http://localhost:8080")).toEqual(local);
    expect(relyingParty("http://localhost:8080", "http://192.168.1.20:8080")).toEqual(local);
    expect(relyingParty(null, "http://pies.localhost:8080")?.id).toBe("pies.localhost");
  });

  it("is nowhere with an IP address, without HTTPS, or with a name that only the request has", () => {
    for (const publicUrl of [
      "http://pies.example",
      "https://192.168.1.20",
      "https://[fd00::7]",
      "https://0xc0a80114",
    ]) {
      expect([publicUrl, relyingParty(publicUrl, "http://localhost:8080")]).toEqual([publicUrl, null]);
    }
    for (const requested of [
      "https://pies.example",
      "https://localhost.pies.example",
      "https://notlocalhost",
      "http://127.0.0.1:8080",
      "http://[::1]:8080",
      "http://",
      "",
    ]) {
      expect([requested, relyingParty(null, requested)]).toEqual([requested, null]);
    }
  });
});
