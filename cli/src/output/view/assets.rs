//! The page, built into the program.

use super::http::Response;

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const PAGE: &str = "text/html; charset=utf-8";
const PICTURE: &str = "image/svg+xml";

macro_rules! assets {
    ($($name:literal: $file:literal as $kind:ident),* $(,)?) => {
        const ASSETS: &[(&str, &str, &str)] = &[$(($name, include_str!(concat!("page/", $file)), $kind)),*];
    };
}

assets! {
    "": "index.html" as PAGE,
    "layout.css": "layout.css" as STYLE,
    "controls.css": "controls.css" as STYLE,
    "readings.css": "readings.css" as STYLE,
    "icon.svg": "icon.svg" as PICTURE,
    "main.js": "main.js" as SCRIPT,
    "numbers.js": "numbers.js" as SCRIPT,
    "server.js": "server.js" as SCRIPT,
    "record.js": "record.js" as SCRIPT,
    "panels.js": "panels.js" as SCRIPT,
    "layout.js": "layout.js" as SCRIPT,
    "axes.js": "axes.js" as SCRIPT,
    "surface.js": "surface.js" as SCRIPT,
    "traces.js": "traces.js" as SCRIPT,
    "draw.js": "draw.js" as SCRIPT,
    "overview.js": "overview.js" as SCRIPT,
    "pointer.js": "pointer.js" as SCRIPT,
    "keys.js": "keys.js" as SCRIPT,
    "cursors.js": "cursors.js" as SCRIPT,
    "integrals.js": "integrals.js" as SCRIPT,
    "lists.js": "lists.js" as SCRIPT,
    "save.js": "save.js" as SCRIPT,
    "readings.js": "readings.js" as SCRIPT,
    "theme.js": "theme.js" as SCRIPT,
    "navigation.js": "navigation.js" as SCRIPT,
}

/// The piece of the page with that name.
pub(super) fn asset(name: &str) -> Option<Response> {
    let (_, text, kind) = ASSETS.iter().find(|(known, _, _)| *known == name)?;
    Some(Response::new(200, kind, text.as_bytes().to_vec()))
}
