//! A page as an HTML5 parser of others reads it (html5ever, the parser of a browser engine).

use std::fs;
use std::path::Path;

use html5ever::driver::ParseOpts;
use html5ever::parse_document;
use html5ever::tendril::TendrilSink;
use html5ever::tokenizer::TokenizerOpts;
use html5ever::tree_builder::TreeBuilderOpts;
use markup5ever_rcdom::{Handle, NodeData, RcDom};

/// What a reader finds.
#[derive(Debug, Default)]
pub struct Page {
    pub title: String,
    /// All text of the body.
    pub text: String,
    /// Names of all elements.
    pub elements: Vec<String>,
    /// Attributes of all elements: element, name, value.
    pub attributes: Vec<(String, String, String)>,
}

fn walk(node: &Handle, page: &mut Page, inside: &str) {
    let mut name = inside.to_string();
    match &node.data {
        NodeData::Element { name: tag, attrs, .. } => {
            name = tag.local.to_string();
            page.elements.push(name.clone());
            for a in attrs.borrow().iter() {
                page.attributes.push((name.clone(), a.name.local.to_string(), a.value.to_string()));
            }
        }
        NodeData::Text { contents } => match inside {
            "title" => page.title.push_str(&contents.borrow()),
            "style" => {}
            _ => page.text.push_str(&contents.borrow()),
        },
        _ => {}
    }
    for child in node.children.borrow().iter() {
        walk(child, page, &name);
    }
}

/// Reads a page; it must be HTML5 without a parse error, with nothing to run and nothing from outside.
pub fn parsed(path: &Path) -> Page {
    let typed = fs::read_to_string(path).unwrap();
    let options = ParseOpts {
        tokenizer: TokenizerOpts { exact_errors: true, ..TokenizerOpts::default() },
        tree_builder: TreeBuilderOpts { exact_errors: true, ..TreeBuilderOpts::default() },
    };
    let dom = parse_document(RcDom::default(), options).one(typed.as_str());
    assert!(dom.errors.borrow().is_empty(), "{:?}", dom.errors.borrow());
    let mut page = Page::default();
    walk(&dom.document, &mut page, "");
    for bad in [
        "script",
        "iframe",
        "object",
        "embed",
        "link",
        "img",
        "base",
        "form",
        "foreignObject",
        "use",
        "a:svg",
    ] {
        assert!(!page.elements.iter().any(|e| e == bad), "an element `{bad}`");
    }
    for (element, name, value) in &page.attributes {
        assert!(!name.starts_with("on"), "{element} {name}={value}");
        let from_outside =
            ["src", "srcset", "data", "action", "background", "poster"].contains(&name.as_str());
        assert!(!from_outside, "{element} {name}={value}");
        assert!(name != "href" || value.starts_with('#'), "{element} {name}={value}");
        assert!(!value.contains("url("), "{element} {name}={value}");
    }
    let style = typed.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    assert!(!style.contains("url(") && !style.contains("@import"));
    let policy = page
        .attributes
        .iter()
        .any(|(_, name, value)| name == "content" && value.starts_with("default-src 'none'"));
    assert!(policy, "the policy that forbids the rest");
    // One heading of the first rank; every table has its caption, every figure its text.
    let count = |name: &str| page.elements.iter().filter(|e| *e == name).count();
    assert_eq!(count("h1"), 1);
    assert_eq!(count("table"), count("caption"));
    assert_eq!(count("svg"), page.attributes.iter().filter(|a| a.0 == "svg" && a.1 == "aria-label").count());
    page
}
