// Reads every page in Chromium as people do: on a phone and at a desk, in light and in dark, with and without scripts.
// Fails on anything that axe finds, on whatever the browser complains of (its content policy above all), on a request to
// anywhere else, on a page wider than a phone, and on a page that needs a script. Narrow screens, large text, the
// keyboard, fingers and paper are tried as well.
//
// Usage: node pages.mjs WHORL_DEMO [HERD]: the program that serves the demo's herd, and a folder where it laid one down. From the environment:
// WHORL_NODE_MODULES, the folder that holds puppeteer-core and axe-core; WHORL_CHROMIUM, another browser than the
// installed one; WHORL_SCREENSHOTS, a folder for pictures of every page.

import { spawn, spawnSync } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

// What must have been read: an address for each, with ids left out. Pages that these lead to are read as well.
const PAGES = ["/", "/sign-in", "/reset", "/visits", "/horses/*", "/horses/*/history", "/horses/*/entry", "/horses/*/grants", "/horses/*/shares", "/horses/*/readings",
    "/barns/*/entry", "/barns/*/recall", "/notices"];

// How many pages of the same kind are read: horses differ in what is known of them.
const ALIKE = 3;

const WIDTHS = [390, 1200];
const SCHEMES = ["light", "dark"];
const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
const SMALLEST_TEXT = 12;

// What a finger needs (WCAG 2.2, 2.5.5), in pixels.
const FINGER = 44;

// The smallest phone, and a desk whose text is set to twice its size (WCAG 2.2, 1.4.10 and 1.4.4).
const TIGHT = [{ width: 320, text: "100%" }, { width: 640, text: "200%" }];

const modules = createRequire(join(process.env.WHORL_NODE_MODULES ?? "node_modules", "/"));
const puppeteer = (await import(pathToFileURL(modules.resolve("puppeteer-core")))).default;
const axe = readFileSync(modules.resolve("axe-core/axe.min.js"), "utf8");

const faults = [];
const fault = (where, what) => faults.push(`${where}: ${what}`);

function chromium() {
    const places = [process.env.WHORL_CHROMIUM, "/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"];
    const found = places.find((place) => place && existsSync(place));
    if (!found) throw new Error("there is no Chromium here: install it (apt-get install chromium)");
    return found;
}

async function freePort() {
    const server = createServer();
    await new Promise((done) => server.listen(0, "127.0.0.1", done));
    const { port } = server.address();
    await new Promise((done) => server.close(done));
    return port;
}

// Starts the demo and waits until its herd is there: then it says what to try.
async function serve(program, folder) {
    const origin = `http://127.0.0.1:${await freePort()}`;
    const process = spawn(program, ["--folder", folder, "--listen", new URL(origin).host], { stdio: ["ignore", "pipe", "pipe"] });
    let said = "";
    await new Promise((ready, failed) => {
        const hear = (text) => {
            said += text;
            if (said.includes(origin)) ready();
        };
        process.stdout.on("data", hear);
        process.stderr.on("data", hear);
        process.on("error", failed);
        process.on("exit", (status) => failed(new Error(`the demo ended with ${status}: ${said}`)));
    });
    return { origin, stop: () => process.kill() };
}

// The owner's address and password, as the demo's scenario has them.
function owner() {
    const scenario = readFileSync(new URL("../demo/saltmarsh.toml", import.meta.url), "utf8");
    const person = scenario.split("[[person]]").find((part) => part.includes('role = "owner"'));
    const field = (name) => person.match(new RegExp(`^${name} = "(.*)"$`, "m"))[1];
    return { email: field("email"), password: field("password") };
}

// Ids and words that differ from page to page are left out.
const alike = (path) => path.split("/").map((part) => (/[0-9]/.test(part) ? "*" : part)).join("/");

async function open(browser, origin, options) {
    const page = await browser.newPage();
    await page.setViewport({ width: options.width, height: 844 });
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: options.scheme }]);
    await page.setJavaScriptEnabled(options.scripts ?? true);
    const where = () => `${new URL(page.url()).pathname} (${options.width} px, ${options.scheme})`;
    page.on("console", (message) => {
        if (["error", "warn"].includes(message.type())) fault(where(), `the browser complains: ${message.text()}`);
    });
    page.on("pageerror", (error) => fault(where(), `a script failed: ${error.message}`));
    page.on("request", (request) => {
        const url = new URL(request.url());
        if (url.protocol !== "data:" && url.origin !== origin) fault(where(), `asks elsewhere: ${url.origin}`);
    });
    return page;
}

async function visit(page, origin, path) {
    const answer = await page.goto(origin + path, { waitUntil: "load" });
    if (answer.status() !== 200) fault(path, `answers ${answer.status()}`);
}

// What is wrong with the page as it stands.
async function judge(page, where) {
    await page.evaluate(axe);
    const found = await page.evaluate(async (rules) => {
        const { violations } = await globalThis.axe.run(document, { runOnly: { type: "tag", values: rules } });
        return violations.map(({ id, help, nodes }) => ({ id, help, at: nodes.slice(0, 3).map(({ html }) => html.slice(0, 200)) }));
    }, RULES);
    for (const { id, help, at } of found) fault(where, `axe ${id}: ${help}\n    ${at.join("\n    ")}`);
    const { wide, inside, small } = await page.evaluate(() => {
        const inside = document.documentElement.clientWidth;
        const size = (text) => {
            const scale = text.ownerSVGElement.getScreenCTM().a;
            return parseFloat(getComputedStyle(text).fontSize) * scale;
        };
        const texts = [...document.querySelectorAll("svg.chart-picture text")];
        return { wide: document.documentElement.scrollWidth, inside, small: Math.min(...texts.map(size)) };
    });
    if (wide > inside) fault(where, `it is ${wide} px wide on a screen of ${inside} px`);
    // Without a picture there is no smallest text.
    if (small !== null && small < SMALLEST_TEXT) fault(where, `text in a picture is ${small.toFixed(1)} px high`);
}

// What is wrong with the page where it is tight, under a finger, at the keyboard and on paper.
async function handle(page, where) {
    for (const { width, text } of TIGHT) {
        await page.setViewport({ width, height: 844 });
        const wide = await page.evaluate((text) => {
            document.documentElement.style.fontSize = text;
            for (const folded of document.querySelectorAll("details")) folded.open = true;
            const all = [...document.querySelectorAll("main *")];
            const inside = document.documentElement.clientWidth;
            const scrolls = (one) => one.closest(".scroll, .chart-numbers, .signed") !== null;
            const out = all.find((one) => !scrolls(one) && one.getBoundingClientRect().right > inside + 1);
            const wider = document.documentElement.scrollWidth > inside;
            document.documentElement.style.fontSize = "";
            return wider ? (out?.outerHTML.slice(0, 200) ?? "something") : null;
        }, text);
        if (wide) fault(where, `too wide at ${width} px with text at ${text}: ${wide}`);
    }
    await page.setViewport({ width: 390, height: 844 });
    const { small, unseen } = await page.evaluate((finger) => {
        const label = (one) => `${one.tagName.toLowerCase()} ${(one.textContent || one.name || "").trim().slice(0, 40)}`;
        const shown = (one) => one.checkVisibility() && one.getClientRects().length > 0;
        const pressed = [...document.querySelectorAll("button, summary, nav a, select, input:not([type=hidden])")].filter(shown);
        const area = (one) => (["checkbox", "radio"].includes(one.type) ? one.closest(".choice") ?? one : one);
        const small = pressed.filter((one) => area(one).getBoundingClientRect().height < finger - 0.5).map(label);
        const unseen = [...document.querySelectorAll("a[href], button, summary, select, input, [tabindex='0']")]
            .filter(shown)
            .filter((one) => {
                one.focus({ focusVisible: true, preventScroll: true });
                const { outlineStyle, outlineWidth } = getComputedStyle(one);
                return document.activeElement === one && (outlineStyle === "none" || parseFloat(outlineWidth) < 2);
            })
            .map(label);
        return { small, unseen };
    }, FINGER);
    if (small.length > 0) fault(where, `too small for a finger: ${[...new Set(small)].slice(0, 5).join("; ")}`);
    if (unseen.length > 0) fault(where, `the keyboard's place isn't seen: ${[...new Set(unseen)].slice(0, 5).join("; ")}`);
}

// The page as it is printed: what is for hands stays away, it says where it comes from, and its pages are numbered.
async function print(page, where, name) {
    await page.emulateMediaType("print");
    const { handles, source } = await page.evaluate(() => {
        const shown = (one) => one.checkVisibility();
        const handles = [...document.querySelectorAll("button, nav, form, input")].filter(shown);
        return {
            handles: handles.map((one) => one.outerHTML.slice(0, 80)),
            source: [...document.querySelectorAll(".printed")].filter(shown).map((one) => one.textContent),
        };
    });
    await page.emulateMediaType(null);
    if (handles.length > 0) fault(where, `prints what is for hands: ${handles.slice(0, 3).join(" ")}`);
    if (!/Printed from the record at .*, as of .* UTC/.test(source.join())) fault(where, "doesn't print where it comes from");
    const pdf = await page.pdf({ format: "A4", preferCSSPageSize: true });
    const folder = process.env.WHORL_SCREENSHOTS;
    if (folder) {
        mkdirSync(folder, { recursive: true });
        writeFileSync(join(folder, `print${name}.pdf`), pdf);
    }
    const { stdout, status } = spawnSync("pdftotext", ["-layout", "-", "-"], { input: pdf });
    if (status !== 0) throw new Error("pdftotext (of poppler-utils) can't read a printed page");
    const papers = stdout.toString().split("\f").filter((paper) => paper.trim() !== "");
    papers.forEach((paper, n) => {
        if (!paper.includes(`Page ${n + 1} of ${papers.length}`)) fault(where, `printed page ${n + 1} has no number`);
    });
}

const text = (page) => page.$eval("main", (main) => main.innerText.replace(/\s+/g, " ").trim());

async function shoot(page, path, options) {
    const folder = process.env.WHORL_SCREENSHOTS;
    if (!folder) return;
    mkdirSync(folder, { recursive: true });
    const name = alike(path.split("?")[0]).replaceAll("*", "X").replaceAll("/", "_");
    const count = (shoot.taken ??= new Map());
    const key = `${name}-${options.scheme}-${options.width}`;
    count.set(key, (count.get(key) ?? 0) + 1);
    await page.screenshot({ path: join(folder, `page${key}-${count.get(key)}.png`), fullPage: true });
}

// The pages of a site, found as a reader finds them, at most so many of a kind.
async function walk(page, origin, start) {
    const [seen, waiting, kinds] = [new Set(start), [...start], new Map()];
    const read = [];
    while (waiting.length > 0) {
        const path = waiting.shift();
        const kind = alike(path.split("?")[0]);
        if ((kinds.get(kind) ?? 0) >= ALIKE) continue;
        kinds.set(kind, (kinds.get(kind) ?? 0) + 1);
        await visit(page, origin, path);
        read.push(path);
        const links = await page.$$eval("a[href]", (found) => found.map((link) => link.href));
        for (const link of links) {
            const url = new URL(link);
            const next = url.pathname + url.search;
            const isPage = url.origin === origin && !url.pathname.startsWith("/v1/") && !url.pathname.includes(".");
            if (isPage && !seen.has(next)) {
                seen.add(next);
                waiting.push(next);
            }
        }
    }
    for (const kind of PAGES) {
        if (!kinds.has(kind)) fault(kind, "no page leads there");
    }
    return read;
}

// Fills in a page's form with every box ticked; what it answers is a page too.
async function ask(page, origin, path) {
    await visit(page, origin, path);
    for (const box of await page.$$("main input[type=checkbox]")) await box.click();
    await Promise.all([page.waitForNavigation(), page.click("main form button[type=submit]")]);
    const url = new URL(page.url());
    if (url.search === "") fault(path, "its form leads nowhere");
    return url.pathname + url.search;
}

// Makes a link to a history, and answers where it leads.
async function share(page, origin, path) {
    await visit(page, origin, path);
    await Promise.all([page.waitForNavigation(), page.click("main form.ask > .row button[type=submit]")]);
    return page.$eval(".notice a", (link) => new URL(link.href).pathname);
}

// A new account with nothing in it: its page says what to do next.
async function begin(browser, origin) {
    const somebody = { email: "new@saltmarsh.example", password: "an empty barn on the far bank", name: "Somebody New" };
    const made = await fetch(`${origin}/v1/accounts`, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(somebody),
    });
    if (!made.ok) throw new Error(`no account is made: ${await made.text()}`);
    const context = await browser.createBrowserContext();
    const page = await open(context, origin, { width: 390, scheme: "light" });
    await signIn(page, origin, somebody);
    await judge(page, "/ of a new account");
    await handle(page, "/ of a new account");
    if (!(await text(page)).includes("whorl horse add")) fault("/ of a new account", "doesn't say what to do next");
    await context.close();
}

async function signIn(page, origin, { email, password } = owner()) {
    await visit(page, origin, "/sign-in");
    await page.type('input[name="email"]', email);
    await page.type('input[name="password"]', password);
    await Promise.all([page.waitForNavigation(), page.click("main button[type=submit]")]);
    if (new URL(page.url()).pathname !== "/") throw new Error(`signing in leads to ${page.url()}: ${await text(page)}`);
}

async function run(program, herd) {
    const folder = mkdtempSync(join(tmpdir(), "whorl-browser-"));
    if (herd) cpSync(herd, folder, { recursive: true });
    const sandbox = process.getuid?.() === 0 ? ["--no-sandbox"] : [];
    let server, browser;
    try {
        browser = await puppeteer.launch({ executablePath: chromium(), args: [...sandbox, "--disable-dev-shm-usage"] });
        server = await serve(program, folder);
        const { origin } = server;
        for (const width of WIDTHS) {
            for (const scheme of SCHEMES) {
                const page = await open(browser, origin, { width, scheme });
                await visit(page, origin, "/sign-in");
                await judge(page, `/sign-in (${width} px, ${scheme})`);
                await shoot(page, "/sign-in", { width, scheme });
                await page.close();
            }
        }
        const first = await open(browser, origin, { width: 390, scheme: "light" });
        await signIn(first, origin);
        const paths = await walk(first, origin, ["/", "/sign-in", "/reset"]);
        for (const kind of ["/horses/*/entry", "/barns/*/entry"]) {
            const form = paths.find((path) => alike(path) === kind);
            if (form) paths.push(await ask(first, origin, form));
        }
        paths.push("/visits?capacity=6&off=sunday");
        const shares = paths.find((path) => alike(path) === "/horses/*/shares");
        paths.push(await share(first, origin, shares));
        for (const [n, path] of paths.entries()) {
            await visit(first, origin, path);
            await handle(first, path);
            // Signing in is nothing to print, nor is setting a password.
            await visit(first, origin, path);
            if (!["/sign-in", "/reset"].includes(path)) await print(first, path, `${alike(path.split("?")[0]).replaceAll("*", "X").replaceAll("/", "_")}-${n}`);
        }
        await first.close();
        await begin(browser, origin);
        for (const width of WIDTHS) {
            for (const scheme of SCHEMES) {
                const page = await open(browser, origin, { width, scheme });
                for (const path of paths) {
                    await visit(page, origin, path);
                    await judge(page, `${path} (${width} px, ${scheme})`);
                    await shoot(page, path, { width, scheme });
                }
                await page.close();
            }
        }
        const options = { width: 390, scheme: "light" };
        const [plain, scripted] = [await open(browser, origin, { ...options, scripts: false }), await open(browser, origin, options)];
        for (const path of paths) {
            await visit(plain, origin, path);
            await visit(scripted, origin, path);
            const [without, with_] = [await text(plain), await text(scripted)];
            if (without.length < 20 || without !== with_) fault(path, "it says something else without scripts");
        }
        return paths;
    } finally {
        await browser?.close();
        server?.stop();
        rmSync(folder, { recursive: true, force: true });
    }
}

const [program, herd] = process.argv.slice(2);
if (!program) throw new Error("say which program serves the demo's herd");
const paths = await run(program, herd);
if (faults.length > 0) {
    console.error(faults.join("\n"));
    console.error(`${faults.length} faults on ${paths.length} pages`);
    process.exit(1);
}
console.log(`${paths.length} pages, each in ${WIDTHS.length * SCHEMES.length} looks and without scripts: nothing to complain of`);
