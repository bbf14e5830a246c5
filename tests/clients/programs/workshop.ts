// What a workshop's program asks, on the generated types alone: `node workshop.js ADDRESS KEY TORQUE` prints what it got.

import createClient from "openapi-fetch";
import type { components, paths } from "./legwork.js";

type Problem = components["schemas"]["Problem"];

const [address = "", key = "", torque = ""] = process.argv.slice(2);
const client = createClient<paths, `application/${string}`>({ baseUrl: address, headers: { Authorization: `Bearer ${key}` } });
const fork = { travel: "160", model_year: 2023, wheel_size: "29" };
const path = { chassis: "tarnoch-raddle-37" };

function answered<T>(asked: { data?: T; error?: Problem }): T {
  if (asked.data === undefined) throw new Error(asked.error?.detail ?? "no answer");
  return asked.data;
}

function refused(asked: { error?: Problem }): Problem {
  if (asked.error === undefined) throw new Error("answered");
  return asked.error;
}

async function questions() {
  const found = answered(await client.GET("/v1/chassis", { params: { query: { q: "radle" } } }));
  const clues = { stanchion_diameter: "37", wheel_size: "29", model_year: 2023 };
  const marks = answered(await client.GET("/v1/identify", { params: { query: clues } }));
  const fits = answered(await client.GET("/v1/chassis/{chassis}/fits", { params: { path, query: fork } }));
  const sheet = answered(
    await client.GET("/v1/chassis/{chassis}/sheet", { params: { path, query: { ...fork, units: "imperial" } } }),
  );
  const setup = answered(
    await client.GET("/v1/chassis/{chassis}/setup", { params: { path, query: { ...fork, rider_mass: "80" } } }),
  );
  const check = answered(
    await client.GET("/v1/frames/{frame}/fork-check", {
      params: { path: { frame: "gorsewade-stile-l" }, query: { ...path, travel: "170", wheel_size: "29" } },
    }),
  );
  const card = answered(
    await client.GET("/v1/chassis/{chassis}/job-card", {
      params: { path, query: { ...fork, job: "spacer-change", spacers: 3 } },
    }),
  );
  const figure = answered(
    await client.GET("/v1/convert", { params: { query: { value: "6.8", from: "N·m", to: "in·lbf" } } }),
  );
  return {
    found: found.rows.map((row) => row.id),
    identify: marks.candidates.map((candidate) => candidate.chassis.id),
    fits: fits.fits.map((fit) => fit.spring.id),
    spacers: fits.fits.flatMap((fit) => fit.spacer_limit ?? []),
    torques: sheet.torques.flatMap((each) => each.torque?.text ?? []),
    start_pressure: setup.start_pressure?.text,
    allowed: check.allowed,
    steps: card.steps.map((step) => step.text),
    converted: figure.result.text,
  };
}

// A batch: each question has its answer or its problem.
async function together() {
  const asked = ["travel", "travell"].map((name) => `/v1/chassis/${path.chassis}/fits?${name}=160`);
  const answer = answered(await client.POST("/v1/batch", { body: { questions: asked } }));
  return answer.answers.map((item) => {
    if (item.problem !== undefined) return `${item.status} ${item.problem.detail}`;
    const fits = item.answer?.["fits"];
    return `${item.status} ${Array.isArray(fits) ? fits.length : "no"} fits`;
  });
}

// A note on a torque: refused without If-Match, taken with the tag that was read, refused with the same again.
async function edit() {
  const read = await client.GET("/v1/torques/{id}", { params: { path: { id: torque } } });
  const tag = read.response.headers.get("ETag") ?? "";
  const { row } = answered(read);
  const changed = { ...row, note: "Read again." };
  const body: components["schemas"]["StatementPut"] = { row: changed, reason: "read again" };
  const send = (header: { "If-Match"?: string }) =>
    client.PUT("/v1/statements/{id}", { params: { path: { id: torque }, header }, body });
  const blind = await send({});
  const taken = await send({ "If-Match": tag });
  const stale = await send({ "If-Match": tag });
  return {
    blind: [blind.response.status, refused(blind).title],
    taken: [taken.response.status, answered(taken).revision],
    stale: [stale.response.status, refused(stale).current],
  };
}

console.log(JSON.stringify({ ...(await questions()), batch: await together(), edit: await edit() }));
