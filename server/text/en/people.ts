export const people = {
  ownNotificationsOnly: "Each person sets their own notifications.",
  keeperChangesOrder: "Only a keeper can change the order and the roles.",
  keeperRemoves: "Only a keeper can remove another person.",
  needsKeeper: "A yard needs at least one keeper. Make another person a keeper first.",
  testTitle: "Pieward: a test",
  testEmail: "Test e-mail. Your address works. There is no alarm.",
  testSent: "Test e-mail sent. Check your inbox.",
};
