// What people do on the page, by the words they see.

export const password = "demo-farm";

/** Signs in on the page itself and waits for the frame. */
export async function signIn(page, name) {
  await page.goto("/");
  await page.getByLabel("Name", { exact: true }).fill(name);
  await page.getByLabel("Password", { exact: true }).fill(password);
  await page.getByRole("button", { name: "Sign in" }).click();
  await page.getByRole("navigation", { name: "Places" }).waitFor();
}

export async function goTo(page, place, heading) {
  await page.getByRole("navigation").getByRole("link", { name: place, exact: true }).click();
  await page.getByRole("heading", { level: 1, name: heading }).waitFor();
}

/** Waits until the top line says that nothing waits on the device. */
export async function allSent(page) {
  // The line follows what is kept by a moment: "All sent" from before is no answer.
  await page.waitForTimeout(500);
  await page.getByRole("button", { name: "All sent" }).waitFor();
}

/** A record list as the server has it, asked with the page's own sign-in. */
export async function records(page, farm, kind, query = "") {
  return page.evaluate(async (path) => {
    const answer = await fetch(path, { headers: { Accept: "application/geo+json" } });
    return { status: answer.status, features: answer.ok ? (await answer.json()).features : [] };
  }, `/farms/${farm}/collections/${kind}/items?limit=10000${query}`);
}

/** Clicks on the map at shares of its width and height, slowly enough not to be one double click. */
export async function clickMap(page, places) {
  const box = await page.getByRole("application").boundingBox();
  for (const [x, y] of places) {
    await page.mouse.click(box.x + x * box.width, box.y + y * box.height);
    await page.waitForTimeout(350);
  }
}

/** The page in a language from the next address on. */
export const speak = (page, language) => page.evaluate((l) => localStorage.setItem("caneward.language", l), language);
