// The page on the phone. Without it every page works by plain forms and links.
import { typing } from "./reading.js";

typing(document);
