export const signIn = {
  wrongPassphrase: "is not correct",
  noReset: "This link was used, replaced or has expired (1 hour). Create a new one on the server.",
  lastKeeperMeanwhile: "You are now the only keeper of another yard. Try again.",
  linkUsed: "This link was already used, or there is a newer one. See the server's output.",
  enterName: "enter a name",
  enterPassphrase: "enter a passphrase",
  nameTaken: "is already used. Choose another name. If it is yours, sign in and open the invitation again",
  notInvited: "This invitation was already used or has expired (7 days). Ask for a new one.",
  wrongNameOrPassphrase: "Name or passphrase is wrong.",
  noRelyingParty:
    "Passkeys need an address with HTTPS and a host name, set as PUBLIC_URL. Sign in with your passphrase here.",
  passkey: {
    unreadable: "The passkey's answer can't be read. Try again, or use your passphrase.",
    challengeUsed: "This request was answered already, or it is older than 5 minutes. Start again.",
    challengeOfOther: "This answer belongs to another request. Start again.",
    origin: "The passkey was used at another address than this server's. Open the server's own address and try again.",
    host: "This passkey belongs to another host name. Use one that you added here, or your passphrase.",
    notVerified:
      "The device didn't check that it is you. Set up its screen lock, fingerprint, face or PIN, and try again.",
    attested: "The device sent a certificate that was not asked for. Try another device.",
    signature: "The passkey's signature is wrong.",
    unknown: "This passkey is not known here: it was removed, or never added. Sign in with your passphrase.",
    otherPerson: "This passkey belongs to another person.",
    counter:
      "The passkey's counter didn't go on, so there may be a copy of it. Use your passphrase, and remove this passkey if you don't know why.",
  },
  passphrase: {
    tooShort: (min: number) => `must be at least ${min} characters`,
    hasName: "must not contain your name",
    addWords: "add one or two words that don't belong together",
    easyToGuess: (why: string) => `is easy to guess: ${why}`,
    warnings: {
      straightRow: "it is a row of keys of a keyboard",
      keyPattern: "it is a pattern of keys of a keyboard",
      simpleRepeat: "it repeats one character",
      extendedRepeat: "it repeats a few characters or words",
      sequences: "it is a series such as abc or 123",
      recentYears: "it is little more than a year",
      dates: "it is little more than a date",
      topTen: "it is one of the ten most common ones",
      topHundred: "it is one of the hundred most common ones",
      common: "it is a common one",
      similarToCommon: "it is nearly the same as a common one",
      wordByItself: "it is a single word; put several together",
      namesByThemselves: "it is a single name; put several words together",
      commonNames: "it is made of common names",
      userInputs: "it is your name or the name of this program",
      pwned: "it is known from a theft of data",
    },
  },
  /** Where an account is deleted with its yards. */
  lastKeeper: (yards: {
    readonly names: string;
    readonly count: number;
    readonly feeders: number;
    readonly others: number;
  }) => {
    const { names, count, feeders, others } = yards;
    const [that, goes] = count === 1 ? ["that yard", "is"] : ["those yards", "are"];
    const record =
      feeders === 0
        ? ""
        : `, with ${feeders} feeder${feeders === 1 ? "" : "s"} and ${feeders === 1 ? "its" : "their"} whole record`;
    const lost = others === 0 ? "" : `, also for ${others} other ${others === 1 ? "person" : "people"}`;
    return `You are the only keeper of ${names}. With your account ${that} ${goes} deleted${record}${lost}. Make somebody else a keeper first, or agree to that.`;
  },
};
