// Enters every area at once, for tests: the page enters each with its place.
import { disease } from "./disease";
import { ground } from "./ground";
import { imports } from "./imports";
import { enter } from "./index";
import { keep } from "./keep";
import { label } from "./label";
import { papers } from "./papers";
import { mayi } from "./mayi";
import { people } from "./people";
import { pass } from "./pass";
import { planting } from "./planting";
import { plants } from "./plants";
import { removals } from "./removals";
import { samples } from "./samples";
import { scoutplan } from "./scoutplan";
import { walk } from "./walk";

for (const texts of [mayi, ground, imports, walk, disease, pass, papers, planting, plants, samples, scoutplan, keep, label, removals, people]) enter(texts);
