import { promises as dns, type LookupAddress } from "node:dns";
import { BlockList, isIP, isIPv4, type LookupFunction } from "node:net";
import type { EndpointCheck } from "../ports.ts";

/**
 * Whoever adds a phone gives an address to which this server then sends requests, from inside the home network. So only https and only
 * public addresses are allowed; otherwise a "phone" could be the router's settings page. The address is checked twice: in the
 * endpoint where it is written in digits, and when connecting (`lookup`), since a name can resolve differently the second time.
 */
export interface EndpointGuard {
  /** Parses the endpoint and checks what can be checked without DNS. @throws EndpointRefused */
  read(endpoint: string): URL;
  /** For sockets: resolves a name to public addresses only. Fails with EndpointRefused or DNS's own error. */
  readonly lookup: LookupFunction;
  /** Both checks, for the moment when a phone is added. */
  check(endpoint: string): Promise<EndpointCheck>;
}

/** An endpoint to which nothing is sent; the message gives the reason. */
export class EndpointRefused extends Error {
  override readonly name = "EndpointRefused";
}

export interface EndpointGuardOptions {
  /** For tests and for a push service in the keeper's own network. Plain http stays refused. */
  readonly allowPrivateEndpoints?: boolean;
  /** All addresses of a name; the operating system's resolver unless a test gives another. */
  readonly resolve?: (name: string) => Promise<readonly LookupAddress[]>;
}

export function endpointGuard({
  allowPrivateEndpoints = false,
  resolve = (name) => dns.lookup(name, { all: true, verbatim: true }),
}: EndpointGuardOptions = {}): EndpointGuard {
  const requirePublic = (address: string) => {
    if (!allowPrivateEndpoints && !isPublicAddress(address)) {
      throw new EndpointRefused(`${address} is not a public address`);
    }
  };

  const read = (endpoint: string): URL => {
    const url = readUrl(endpoint);
    // The URL parser has turned decimal, octal and hex forms (0x7f.1, 2130706433) into the usual four numbers.
    const host = url.hostname.replace(/^\[|\]$/g, "");
    if (isIP(host) !== 0) requirePublic(host);
    return url;
  };

  /** One private address refuses the whole name: a push service has public addresses only. */
  const publicAddresses = async (name: string): Promise<readonly LookupAddress[]> => {
    const addresses = await resolve(name);
    for (const { address } of addresses) requirePublic(address);
    return addresses;
  };

  const check: EndpointGuard["check"] = async (endpoint) => {
    try {
      const { hostname } = read(endpoint);
      if (isIP(hostname.replace(/^\[|\]$/g, "")) === 0) await publicAddresses(hostname);
      return { kind: "allowed" };
    } catch (error) {
      if (error instanceof EndpointRefused) return { kind: "refused", reason: error.message };
      return { kind: "refused", reason: `its name could not be looked up: ${errorText(error)}` };
    }
  };

  return { read, lookup: lookupIn(publicAddresses), check };
}

/** A socket's lookup, among the addresses that `addressesOf` allows. */
const lookupIn =
  (addressesOf: (name: string) => Promise<readonly LookupAddress[]>): LookupFunction =>
  (name, options, done) => {
    addressesOf(name).then(
      (addresses) => {
        const family = familyOf(options.family);
        const wanted = addresses.filter((one) => family === 0 || one.family === family);
        const [first] = wanted;
        if (first === undefined) {
          done(Object.assign(new Error(`${name} has no address that can be used`), { code: "ENOTFOUND" }), "");
        } else if (options.all) done(null, [...wanted]);
        else done(null, first.address, first.family);
      },
      (error: NodeJS.ErrnoException) => done(error, ""),
    );
  };

function readUrl(endpoint: string): URL {
  if (!URL.canParse(endpoint)) throw new EndpointRefused("it is not a web address");
  const url = new URL(endpoint);
  if (url.protocol !== "https:") throw new EndpointRefused("a push service uses https only");
  if (url.username !== "" || url.password !== "") throw new EndpointRefused("it holds a user name or password");
  url.hash = ""; // never sent to a server anyway
  return url;
}

const familyOf = (family: number | "IPv4" | "IPv6" | undefined): number =>
  family === "IPv4" ? 4 : family === "IPv6" ? 6 : (family ?? 0);

const errorText = (error: unknown): string => (error instanceof Error ? error.message : String(error));

// --- which addresses are public --------------------------------------------------------------------------------------

/**
 * Whether an address belongs to the public internet: not one of the IANA special-purpose registries (RFC 6890, as kept up
 * to date at iana.org/assignments/iana-ipv4-special-registry and iana-ipv6-special-registry; ranges written from memory).
 * @param address as digits, without brackets
 */
export function isPublicAddress(address: string): boolean {
  if (isIPv4(address)) return !specialIPv4.check(address, "ipv4");
  if (isIP(address) !== 6 || address.includes("%")) return false; // a zone index belongs to link-local addresses only
  const embedded = embeddedInNat64(address);
  if (embedded !== null) return isPublicAddress(embedded);
  return globalIPv6.check(address, "ipv6") && !specialIPv6.check(address, "ipv6");
}

const specialIPv4 = blockList("ipv4", [
  ["0.0.0.0", 8], // this host on this network
  ["10.0.0.0", 8], // private use
  ["100.64.0.0", 10], // shared between carrier and customer (CGNAT)
  ["127.0.0.0", 8], // loopback
  ["169.254.0.0", 16], // link-local, where cloud hosts keep their metadata
  ["172.16.0.0", 12], // private use
  ["192.0.0.0", 24], // IETF protocol assignments
  ["192.0.2.0", 24], // documentation
  ["192.88.99.0", 24], // 6to4 relays, deprecated
  ["192.168.0.0", 16], // private use
  ["198.18.0.0", 15], // benchmarking
  ["198.51.100.0", 24], // documentation
  ["203.0.113.0", 24], // documentation
  ["224.0.0.0", 4], // multicast
  ["240.0.0.0", 4], // reserved, with the broadcast address at its end
]);

/**
 * All of IPv6 that is assigned as global unicast (RFC 4291 section 2.4, IANA IPv6 address space). What lies outside need not be
 * listed: loopback ::1, mapped ::ffff:0:0/96, local NAT64 64:ff9b:1::/48, unique local fc00::/7, link-local fe80::/10,
 * site-local fec0::/10, multicast ff00::/8, discard 100::/64, segment routing 5f00::/16.
 */
const globalIPv6 = blockList("ipv6", [["2000::", 3]]);

const specialIPv6 = blockList("ipv6", [
  ["2001::", 23], // IETF protocol assignments: Teredo, benchmarking, ORCHID
  ["2001:db8::", 32], // documentation
  ["2002::", 16], // 6to4: carries an IPv4 address of any kind
  ["3fff::", 20], // documentation (RFC 9637)
]);

/**
 * A network with IPv6 alone reaches the IPv4 internet through 64:ff9b::/96 (RFC 6052), with the IPv4 address in the last 32 bits.
 * Such an address is as public as the one inside.
 */
function embeddedInNat64(address: string): string | null {
  if (!nat64.check(address, "ipv6")) return null;
  // The URL parser writes every address in one form: hex groups, the last two of which are the IPv4 address.
  const groups = new URL(`http://[${address}]`).hostname.slice(1, -1).replace("64:ff9b::", "").split(":");
  const [high = 0, low = 0] = [
    0,
    0,
    ...groups.filter((group) => group !== "").map((group) => Number.parseInt(group, 16)),
  ].slice(-2);
  return [high >> 8, high & 255, low >> 8, low & 255].join(".");
}

const nat64 = blockList("ipv6", [["64:ff9b::", 96]]);

function blockList(family: "ipv4" | "ipv6", ranges: readonly (readonly [net: string, prefix: number])[]): BlockList {
  const list = new BlockList();
  for (const [net, prefix] of ranges) list.addSubnet(net, prefix, family);
  return list;
}
