export const title = "Delete this yard";
const feedersText = (count: number) => (count === 0 ? "" : count === 1 ? ", its feeder" : `, its ${count} feeders`);
export const consequencesText = (yard: string, feeders: number) =>
  `${yard}${feedersText(feeders)} and all their data are deleted. This can't be undone.`;
export const consequencesForPeopleText = (yard: string, feeders: number) =>
  `${yard}${feedersText(feeders)} and all their data are deleted. People without another yard lose their account. You keep yours. This can't be undone.`;
export const nameLabel = "Name of the yard";
export const nameHint = (yard: string) => `Type ${yard}, so that no other yard is deleted by mistake.`;
export const deleteLabel = "Delete the yard";
export const deletedText = (yard: string) => `${yard} is deleted.`;
