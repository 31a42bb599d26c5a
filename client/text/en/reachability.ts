export const noPhoneText = "Notifications are off on all your phones.";
export const noneConfirmedText = "It is not confirmed that your phones receive notifications.";
export const onePhoneText = (phone: string, state: string) => `${phone}: ${state}`;
const thisPhone = (phone: string) => `This phone (${phone}) gets no notifications`;
export const blockedText = (phone: string) => `${thisPhone(phone)}: permission was removed.`;
export const renewalPendingText = (phone: string) =>
  `${thisPhone(phone)}: its new address is not sent to the server yet.`;
export const addressExpiredText = (phone: string) => `${thisPhone(phone)}: its address is no longer valid.`;
export const registrationLostText = (phone: string) => `${thisPhone(phone)}: its browser lost the registration.`;
export const sendTestLabel = "Send a test";
export const fixLabel = "Fix it";
