/**
 * Whether a text is exactly one e-mail address: local part and domain of RFC 5321 section 4.1.2, without its quoted forms,
 * comments or address literals, which are not in use. It can have no space, control character or comma, so it can add neither
 * a second address nor a header.
 */
export function isEmailAddress(text: string): boolean {
  const at = text.lastIndexOf("@");
  const local = text.slice(0, at);
  const domain = text.slice(at + 1);
  return at > 0 && text.length <= 254 && local.length <= 64 && dotAtom.test(local) && hostName.test(domain);
}

const dotAtom = /^[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*$/;
/** Letters of any script: the domain is sent in its ASCII form (RFC 5890). */
const label = "[\\p{L}\\p{N}](?:[\\p{L}\\p{N}\\p{M}-]{0,61}[\\p{L}\\p{N}\\p{M}])?";
const hostName = new RegExp(`^${label}(?:\\.${label})*$`, "u");
