//! Where in a text a value stands, or belongs.

use std::ops::Range;

use toml_edit::{Document, Item, Key, TableLike, Value};

use super::NewValue;
use crate::fault::Fault;

/// One step of the path to a section.
#[derive(Clone, Copy)]
pub(super) enum Step<'a> {
    /// A section of this name.
    Key(&'a str),
    /// An entry, from 0, of the list of sections of this name.
    Entry(&'a str, usize),
}

impl<'a> Step<'a> {
    fn name(self) -> &'a str {
        match self {
            Self::Key(name) | Self::Entry(name, _) => name,
        }
    }
}

/// Bytes and what replaces them.
pub(super) struct Splice {
    pub(super) range: Range<usize>,
    pub(super) text: String,
}

impl Splice {
    fn insert(at: usize, text: String) -> Self {
        Self { range: at..at, text }
    }
}

/// How a table is written.
#[derive(Clone)]
enum Form {
    /// The top of the file.
    Top,
    /// Under a header, which ends here.
    Header(usize),
    /// Only by headers of what is below it.
    Implied,
    /// By dotted keys.
    Dotted,
    /// In braces, which stand here.
    Braces(Range<usize>),
}

#[derive(Clone)]
struct Node<'a> {
    table: &'a dyn TableLike,
    form: Form,
}

impl<'a> Node<'a> {
    fn of(item: &'a Item) -> Option<Self> {
        let span = item.span().unwrap_or_default();
        match item {
            Item::Table(table) => {
                let dotted_or = |other| if table.is_dotted() { Form::Dotted } else { other };
                let form = dotted_or(if table.is_implicit() { Form::Implied } else { Form::Header(span.end) });
                Some(Self { table, form })
            }
            Item::Value(value) => Self::of_value(value),
            _ => None,
        }
    }

    fn of_value(value: &'a Value) -> Option<Self> {
        let table = value.as_inline_table()?;
        let form = if table.is_dotted() { Form::Dotted } else { Form::Braces(value.span().unwrap_or_default()) };
        Some(Self { table, form })
    }
}

/// What is there of a path.
struct Walk<'a> {
    /// The last table of it that is there.
    node: Node<'a>,
    /// The last of them that is not written by dotted keys.
    anchor: Node<'a>,
    /// The way from the anchor to the node.
    dotted: Vec<&'a str>,
    /// What is missing.
    rest: &'a [Step<'a>],
    /// The list that the first missing step would lengthen.
    list: Option<&'a Item>,
}

fn walk<'a>(document: &'a Document<String>, path: &'a [Step<'a>]) -> Result<Walk<'a>, Fault> {
    let top = Node { table: document.as_table(), form: Form::Top };
    let mut walk = Walk { node: top.clone(), anchor: top, dotted: Vec::new(), rest: path, list: None };
    while let Some((step, rest)) = walk.rest.split_first() {
        let name = step.name();
        let Some(item) = walk.node.table.get(name) else { break };
        let next = match *step {
            Step::Key(_) => Node::of(item).ok_or_else(|| other_than(name, "a section"))?,
            Step::Entry(_, index) => {
                let count = match item {
                    Item::ArrayOfTables(tables) => tables.len(),
                    Item::Value(Value::Array(array)) => array.len(),
                    _ => return Err(other_than(name, "a list of sections")),
                };
                if index > count {
                    return Err(Fault::input(format!("{name} has {count} entries"), "add them one after another"));
                }
                if index == count {
                    walk.list = Some(item);
                    break;
                }
                entry(item, index).ok_or_else(|| other_than(name, "a list of sections"))?
            }
        };
        walk.rest = rest;
        walk.node = next.clone();
        if matches!(next.form, Form::Dotted) {
            walk.dotted.push(name);
        } else {
            walk.anchor = next;
            walk.dotted.clear();
        }
    }
    Ok(walk)
}

fn entry(item: &Item, index: usize) -> Option<Node<'_>> {
    match item {
        Item::ArrayOfTables(tables) => {
            let table = tables.get(index)?;
            Some(Node { table, form: Form::Header(table.span().unwrap_or_default().end) })
        }
        _ => Node::of_value(item.as_array()?.get(index)?),
    }
}

fn other_than(name: &str, wanted: &str) -> Fault {
    Fault::input(format!("{name} is not {wanted} in this file"), "correct it in a text editor")
}

/// Whether the key of the section now is what was asked for.
pub(super) fn holds(document: &Document<String>, path: &[Step<'_>], key: &str, value: Option<&NewValue>) -> bool {
    let Ok(walk) = walk(document, path) else { return false };
    let item = if walk.rest.is_empty() { walk.node.table.get(key) } else { None };
    match (item, value) {
        (Some(item), Some(value)) => value.is(item),
        (None, None) => true,
        _ => false,
    }
}

/// What to change so that the key has the value; `None` where it has it already.
pub(super) fn plan(
    document: &Document<String>,
    text: &str,
    path: &[Step<'_>],
    key: &str,
    value: Option<&NewValue>,
) -> Result<Option<Splice>, Fault> {
    let walk = walk(document, path)?;
    let found = if walk.rest.is_empty() { walk.node.table.get_key_value(key) } else { None };
    match (found, value) {
        (Some((_, item)), _) if item.is_table() || item.is_inline_table() || item.is_array_of_tables() => Err(other_than(key, "a value")),
        (Some((_, item)), Some(value)) if value.is(item) => Ok(None),
        (Some((_, item)), Some(value)) => Ok(item.span().map(|range| Splice { range, text: value.written(item.is_float()) })),
        (Some((name, item)), None) => Ok(name.span().zip(item.span()).map(|(name, value)| removed(text, &walk.anchor, name, value))),
        (None, None) => Ok(None),
        (None, Some(value)) => Ok(Some(added(text, &walk, path, key, &value.written(false)))),
    }
}

/// A key that is not there yet.
fn added(text: &str, walk: &Walk<'_>, path: &[Step<'_>], key: &str, value: &str) -> Splice {
    let names = |steps: &[Step<'_>]| steps.iter().map(|step| Key::new(step.name()).to_string()).collect::<Vec<_>>();
    let assigned = |way: &[String]| format!("{} = {value}", [way, &[Key::new(key).to_string()]].concat().join("."));
    let end_of_line = end_of_line(text);
    let within = walk.rest.is_empty() && !matches!(walk.anchor.form, Form::Implied);
    if let Some(Item::Value(list)) = walk.list {
        return in_list(list, &format!("{{ {} }}", assigned(&[])));
    }
    let listed = matches!(walk.rest.first(), Some(Step::Entry(..)));
    if !listed && (within || matches!(walk.node.form, Form::Dotted) || matches!(walk.anchor.form, Form::Braces(_))) {
        let way: Vec<String> = walk.dotted.iter().map(|name| Key::new(*name).to_string()).chain(names(walk.rest)).collect();
        return in_table(text, walk, &assigned(&way));
    }
    let [open, close] = if listed { ["[[", "]]"] } else { ["[", "]"] };
    let section = format!("{open}{}{close}{end_of_line}{}{end_of_line}", names(path).join("."), assigned(&[]));
    let last = walk.list.and_then(end_of_item).or_else(|| match walk.node.form {
        Form::Top => None,
        Form::Header(end) => Some(end.max(end_of(walk.node.table).unwrap_or(0))),
        _ => end_of(walk.node.table),
    });
    let at = last.map_or(text.len(), |end| next_line(text, end));
    let broken = if at > 0 && !text[..at].ends_with('\n') { end_of_line } else { "" };
    let blank = if at > 0 { end_of_line } else { "" };
    Splice::insert(at, format!("{broken}{blank}{section}"))
}

/// A line, or a part of braces, behind the last of the section's own.
fn in_table(text: &str, Walk { node, anchor, .. }: &Walk<'_>, assigned: &str) -> Splice {
    let last = node.table.get_values().into_iter().filter_map(|(_, value)| value.span()).max_by_key(|span| span.end);
    let end_of_line = end_of_line(text);
    if let Form::Braces(braces) = &anchor.form {
        if let Some(last) = last {
            return Splice::insert(last.end, format!(", {assigned}"));
        }
        let close = if text[braces.start + 1..].starts_with('}') { " " } else { "" };
        return Splice::insert(braces.start + 1, format!(" {assigned}{close}"));
    }
    let indent = last.as_ref().map_or("", |last| indent_of(text, last.start));
    let end = last.map(|last| last.end).or(match anchor.form {
        Form::Header(end) => Some(end),
        _ => None,
    });
    let Some(end) = end else { return Splice::insert(0, format!("{assigned}{end_of_line}")) };
    let at = next_line(text, end);
    if text[..at].ends_with('\n') {
        Splice::insert(at, format!("{indent}{assigned}{end_of_line}"))
    } else {
        // The last line of the file has no end; so has the new one.
        Splice::insert(at, format!("{end_of_line}{indent}{assigned}"))
    }
}

fn in_list(list: &Value, braces: &str) -> Splice {
    let span = list.span().unwrap_or_default();
    match list.as_array().and_then(|array| array.iter().last()).and_then(Value::span) {
        Some(last) => Splice::insert(last.end, format!(", {braces}")),
        None => Splice::insert(span.start + 1, braces.to_owned()),
    }
}

/// Takes a key and its value out; `name` is the last part of the key.
fn removed(text: &str, anchor: &Node<'_>, name: Range<usize>, value: Range<usize>) -> Splice {
    if let Form::Braces(braces) = &anchor.form {
        let mut spans: Vec<Range<usize>> = anchor.table.get_values().into_iter().filter_map(|(_, value)| value.span()).collect();
        spans.sort_by_key(|span| span.start);
        let place = spans.iter().position(|span| *span == value).unwrap_or(0);
        let range = match (place.checked_sub(1), spans.len()) {
            (Some(before), _) => spans[before].end..value.end,
            (None, 1) => braces.start + 1..braces.end - 1,
            (None, _) => start_of_next(text, braces.start + 1)..start_of_next(text, comma(text, value.end) + 1),
        };
        return Splice { range, text: String::new() };
    }
    let start = start_of_line(text, name.start) + indent_of(text, name.start).len();
    let behind = text[value.end..].lines().next().unwrap_or_default();
    let comment = behind.trim_start();
    if comment.is_empty() {
        return Splice { range: start_of_line(text, name.start)..next_line(text, value.end), text: String::new() };
    }
    Splice { range: start..value.end + (behind.len() - comment.len()), text: String::new() }
}

/// The end of the last thing that belongs to a table, however deep.
fn end_of(table: &dyn TableLike) -> Option<usize> {
    table.iter().filter_map(|(_, item)| end_of_item(item)).max()
}

fn end_of_item(item: &Item) -> Option<usize> {
    let below = match item {
        Item::Table(table) => end_of(table),
        Item::ArrayOfTables(tables) => tables.iter().filter_map(|table| end_of(table)).max(),
        _ => None,
    };
    below.max(item.span().map(|span| span.end))
}

/// How the file ends its lines.
fn end_of_line(text: &str) -> &'static str {
    let first = text.find('\n').unwrap_or(0);
    if text[..first].ends_with('\r') { "\r\n" } else { "\n" }
}

fn start_of_line(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |end| end + 1)
}

fn indent_of(text: &str, at: usize) -> &str {
    let line = &text[start_of_line(text, at)..at];
    &line[..line.len() - line.trim_start_matches([' ', '\t']).len()]
}

/// Where the line behind the one of a byte begins.
fn next_line(text: &str, at: usize) -> usize {
    text[at..].find('\n').map_or(text.len(), |end| at + end + 1)
}

fn start_of_next(text: &str, at: usize) -> usize {
    text.len() - text[at..].trim_start().len()
}

/// The next comma that is in no comment.
fn comma(text: &str, from: usize) -> usize {
    let mut at = from;
    while let Some(found) = text[at..].find([',', '#']) {
        at += found;
        if text[at..].starts_with(',') {
            return at;
        }
        at = next_line(text, at);
    }
    text.len()
}
