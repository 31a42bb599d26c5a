import { hashOf, signatureOf } from "../../flows/feederKeys.ts";

/** A worked signature. The key is invented and opens nothing. */
const key = "pw_RowanRowanRowanRowanRowanRowanRowanRowanRowa";
const feeder = "rowan-4f2a9c";
const time = "1768467600";
const body = '{"boot":"b-7f3a91c2","sentUptimeMs":60000,"readings":{"hopperGrams":812.4}}';
const secret = hashOf(key);
const mac = signatureOf(secret, time, body);

export const signatureExample = {
  key,
  feeder,
  time,
  body,
  secret,
  mac,
  header: `Authorization: Signature feeder="${feeder}", time="${time}", mac="${mac}"`,
};

/** Both print the header of the worked example. With a key, a feeder, a time and a body of its own they sign for a real one. */
export const signInShell = `KEY='${key}'
FEEDER='${feeder}'
TIME='${time}'   # a real one: TIME=$(date +%s)
BODY='${body}'
SECRET=$(printf %s "$KEY" | openssl dgst -sha256 -r | cut -d ' ' -f 1)
MAC=$(printf '%s\\n%s' "$TIME" "$BODY" | openssl dgst -sha256 -hmac "$SECRET" -binary |
  openssl base64 -A | tr '+/' '-_' | tr -d '=')
echo "Authorization: Signature feeder=\\"$FEEDER\\", time=\\"$TIME\\", mac=\\"$MAC\\""
`;

export const signInPython = `import base64, hashlib, hmac

key = "${key}"
feeder = "${feeder}"
time = "${time}"  # a real one: str(int(time.time()))
body = '${body}'
secret = hashlib.sha256(key.encode()).hexdigest()
digest = hmac.new(secret.encode(), f"{time}\\n{body}".encode(), hashlib.sha256).digest()
mac = base64.urlsafe_b64encode(digest).rstrip(b"=").decode()
print(f'Authorization: Signature feeder="{feeder}", time="{time}", mac="{mac}"')
`;
