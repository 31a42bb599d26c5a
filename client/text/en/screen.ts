export const pageTitleText = (page: string) => `${page} · Pieward`;
export const practicePageTitleText = (page: string) => `Practice: ${page} · Pieward`;
