//! A small typesetter: headings, paragraphs, lists, tables and figures flow down A4 pages, each part named for readers who
//! do not see it.

use crate::land::document::Table;
use crate::land::paper::{Mark, Node, NodeKind, Page, Paper};
use crate::land::typeface::{lines, readable, shortened, width};

/// A4, millimetres.
const SIZE: (f64, f64) = (210.0, 297.0);
/// Left and right margin.
const SIDE: f64 = 16.0;
/// First and last base line.
const TOP: f64 = 20.0;
const END: f64 = 280.0;
/// Size of running text.
const TEXT: f64 = 3.3;
/// Ink.
const BLACK: [u8; 3] = [34, 34, 34];
const GREY: [u8; 3] = [85, 85, 85];
const RULE: [u8; 3] = [190, 186, 175];
const BLUE: [u8; 3] = [0, 114, 178];
const ORANGE: [u8; 3] = [213, 94, 0];
const PALE: [u8; 3] = [247, 244, 236];

/// A paper under way.
pub(in crate::publish) struct Flow {
    paper: Paper,
    y: f64,
    foot: String,
    /// Page and height just below the last heading of a chapter.
    headed: (usize, f64),
}

/// Text of one part.
struct Part {
    node: Option<usize>,
    size: f64,
    bold: bool,
    colour: [u8; 3],
}

impl Flow {
    /// An empty paper; `foot` stands at the foot of every page.
    pub(in crate::publish) fn new(title: &str, about: &str, foot: &str) -> Self {
        let paper = Paper { title: title.to_owned(), about: about.to_owned(), pages: Vec::new(), nodes: Vec::new() };
        let mut flow = Self { paper, y: TOP, foot: foot.to_owned(), headed: (0, 0.0) };
        flow.new_page();
        flow
    }
    /// Width of the text.
    pub(in crate::publish) fn across() -> f64 {
        SIZE.0 - 2.0 * SIDE
    }
    /// Room left on the page.
    pub(in crate::publish) fn left(&self) -> f64 {
        END - self.y
    }
    /// Starts a page.
    pub(in crate::publish) fn new_page(&mut self) {
        self.paper.pages.push(Page { size: SIZE, marks: Vec::new(), ground: None });
        self.y = TOP;
    }
    /// Starts a page unless there is this much room.
    fn need(&mut self, room: f64) {
        if self.y + room > END && self.y > TOP {
            self.new_page();
        }
    }
    fn put(&mut self, mark: Mark) {
        if let Some(page) = self.paper.pages.last_mut() {
            page.marks.push(mark);
        }
    }
    fn node(&mut self, kind: NodeKind, parent: Option<usize>, words: &str) -> usize {
        self.paper.nodes.push(Node { kind, parent, words: readable(words) });
        self.paper.nodes.len() - 1
    }
    fn line(&mut self, part: &Part, x: f64, text: &str) {
        let text = text.to_owned();
        let (node, size, bold, colour) = (part.node, part.size, part.bold, part.colour);
        self.put(Mark::Text { node, at: (x, self.y), size, bold, colour, text });
    }
    fn fill(&mut self, at: (f64, f64), size: (f64, f64), colour: [u8; 3]) {
        self.put(Mark::Fill { at, size, colour });
    }
    /// Lines of one part, breaking across pages.
    fn wrapped(&mut self, part: &Part, x: f64, most: f64, text: &str) {
        for line in lines(text, part.bold, part.size, most) {
            self.need(1.35 * part.size);
            self.line(part, x, &line);
            self.y += 1.35 * part.size;
        }
    }
    /// A heading of level 1, 2 or 3, kept with what follows.
    pub(in crate::publish) fn heading(&mut self, level: u8, text: &str) {
        let size = [0.0, 7.0, 4.8, 3.6][usize::from(level.min(3))];
        if self.y > TOP {
            self.y += [0.0, 4.0, 4.5, 2.0][usize::from(level.min(3))];
        }
        self.need(size + 34.0);
        let node = self.node(NodeKind::Heading(level), None, text);
        let part = Part { node: Some(node), size, bold: true, colour: BLACK };
        self.wrapped(&part, SIDE, Self::across(), text);
        if level == 2 {
            let y = self.y - 0.62 * size;
            self.fill((SIDE, y), (Self::across(), 0.3), RULE);
        }
        self.y += if level == 1 { -2.5 } else { 0.2 * size };
        if level == 2 {
            self.headed = (self.pages(), self.y);
        }
    }
    /// A heading that stays on one page with the drawing of this size below it.
    pub(in crate::publish) fn heading_before(&mut self, level: u8, text: &str, drawing: (f64, f64)) {
        let tall = drawn(drawing).1;
        if tall > 0.0 {
            self.need(tall + 16.0);
        }
        self.heading(level, text);
    }
    /// A paragraph.
    pub(in crate::publish) fn para(&mut self, text: &str) {
        self.sized(text, TEXT, BLACK);
    }
    /// A paragraph in small grey type.
    pub(in crate::publish) fn small(&mut self, text: &str) {
        self.sized(text, 2.6, GREY);
    }
    fn sized(&mut self, text: &str, size: f64, colour: [u8; 3]) {
        if text.is_empty() {
            return;
        }
        let node = self.node(NodeKind::Paragraph, None, "");
        let part = Part { node: Some(node), size, bold: false, colour };
        self.wrapped(&part, SIDE, Self::across(), text);
        self.y += 0.6 * size;
    }
    /// A list in small type.
    pub(in crate::publish) fn small_list<T: AsRef<str>>(&mut self, items: &[T]) {
        self.list_at(SIDE, Self::across(), items, 2.75);
        self.y += 0.6;
    }
    /// A list.
    pub(in crate::publish) fn list<T: AsRef<str>>(&mut self, items: &[T]) {
        self.list_at(SIDE, Self::across(), items, TEXT);
        self.y += 1.0;
    }
    fn list_at<T: AsRef<str>>(&mut self, x: f64, most: f64, items: &[T], size: f64) {
        if items.is_empty() {
            return;
        }
        let list = self.node(NodeKind::List, None, "");
        for item in items {
            let node = self.node(NodeKind::Item, Some(list), "");
            let part = Part { node: Some(node), size, bold: false, colour: BLACK };
            self.need(1.35 * size);
            self.fill((x + 0.6, self.y - 0.42 * size), (0.9, 0.9), GREY);
            self.wrapped(&part, x + 3.6, most - 3.6, item.as_ref());
            self.y += 0.25 * size;
        }
    }
    /// A box with an orange bar: what must not be overlooked.
    pub(in crate::publish) fn caution(&mut self, text: &str) {
        let most = Self::across() - 6.0;
        let tall = 1.35 * TEXT * lines(text, false, TEXT, most).len() as f64;
        self.need(tall + 5.0);
        self.y += 0.9;
        let y = self.y - 4.2;
        self.fill((SIDE, y), (Self::across(), tall + 2.4), [253, 243, 236]);
        self.fill((SIDE, y), (1.4, tall + 2.4), ORANGE);
        let node = self.node(NodeKind::Paragraph, None, "");
        let part = Part { node: Some(node), size: TEXT, bold: false, colour: BLACK };
        self.wrapped(&part, SIDE + 4.0, most, text);
        self.y += 3.0;
    }
    /// Boxes side by side, two a row: heading, and lines of which the first may be large.
    pub(in crate::publish) fn cards(&mut self, cards: &[(&str, &[String], bool)]) {
        let wide = 0.5 * (Self::across() - 6.0);
        for row in cards.chunks(2) {
            let tall = row.iter().map(|c| card_height(c, wide)).fold(0.0, f64::max);
            self.need(tall + 4.0);
            let (top, mut lowest) = (self.y, self.y);
            for (i, (title, items, large)) in row.iter().enumerate() {
                let x = SIDE + (wide + 6.0) * i as f64;
                self.fill((x, top - 4.0), (wide, tall), PALE);
                self.fill((x, top - 4.0), (1.4, tall), BLUE);
                self.y = top + 1.5;
                let node = self.node(NodeKind::Heading(2), None, title);
                self.line(&Part { node: Some(node), size: 3.6, bold: true, colour: BLACK }, x + 4.5, title);
                self.y += 5.6;
                let rest = if *large {
                    let node = self.node(NodeKind::Paragraph, None, "");
                    let part = Part { node: Some(node), size: 4.6, bold: true, colour: BLACK };
                    self.wrapped(&part, x + 4.5, wide - 8.0, items.first().map_or("", String::as_str));
                    self.y += 0.8;
                    items.get(1..).unwrap_or_default()
                } else {
                    items
                };
                self.list_at(x + 4.5, wide - 8.0, rest, 2.9);
                lowest = lowest.max(self.y);
            }
            self.y = lowest.max(top + tall - 4.0) + 5.0;
        }
    }
    /// Room kept for a drawing of this height.
    pub(in crate::publish) fn space(&mut self, height: f64) {
        self.need(height + 2.0);
        self.y += height + 4.0;
    }
    /// Pages so far.
    pub(in crate::publish) fn pages(&self) -> usize {
        self.paper.pages.len()
    }
    /// A drawing across the page, with words that stand for it.
    pub(in crate::publish) fn figure(&mut self, svg: &str, size: (f64, f64), alt: &str) {
        if svg.is_empty() {
            return;
        }
        let size = drawn(size);
        self.need(size.1 + 2.0);
        let node = self.node(NodeKind::Figure, None, alt);
        let svg = crate::publish::drawing::standing_alone(svg, size.0, size.1);
        let at = (SIDE, self.y - 3.0);
        self.put(Mark::Picture { node, at, size, svg });
        self.y += size.1 + 4.0;
    }
    /// A table without the columns that only programs need; a sentence when it is empty.
    pub(in crate::publish) fn table(&mut self, table: &Table, hidden: &[&str]) {
        let cells = super::cells::of(table, hidden);
        if cells.rows.is_empty() {
            self.para(&format!("{}: not worked out in this run, or nothing to list.", table.title));
            return;
        }
        let (widths, size) = super::cells::widths(&cells, Self::across());
        self.need(30.0);
        // Right below its chapter's heading a table needs no name of its own.
        if self.headed != (self.pages(), self.y) {
            let caption = self.node(NodeKind::Paragraph, None, "");
            let part = Part { node: Some(caption), size: 2.9, bold: true, colour: GREY };
            self.wrapped(&part, SIDE, Self::across(), &table.title);
            self.y += 1.2;
        }
        let node = self.node(NodeKind::Table, None, &table.title);
        self.table_row(Some(node), &cells.heads, &widths, &cells.numbers, size, true);
        for row in &cells.rows {
            let tall = row_height(row, &widths, size, false);
            if self.y + tall > END {
                self.new_page();
                // The heads once more for the eye; readers have them already.
                self.table_row(None, &cells.heads, &widths, &cells.numbers, size, true);
            }
            self.table_row(Some(node), row, &widths, &cells.numbers, size, false);
        }
        self.y += 4.0;
    }
    fn table_row(
        &mut self,
        table: Option<usize>,
        row: &[String],
        widths: &[f64],
        numbers: &[bool],
        size: f64,
        head: bool,
    ) {
        let top = self.y;
        let tall = row_height(row, widths, size, head);
        let parent = table.map(|t| self.node(NodeKind::Row, Some(t), ""));
        let mut x = SIDE;
        for ((text, wide), number) in row.iter().zip(widths).zip(numbers) {
            let kind = if head { NodeKind::HeadCell } else { NodeKind::Cell };
            let node = parent.map(|p| self.node(kind, Some(p), ""));
            let part = Part { node, size, bold: head, colour: BLACK };
            self.y = top + size;
            for line in lines(text, head, size, wide - 2.0) {
                let shift = if *number { wide - 2.0 - width(&line, head, size) } else { 0.0 };
                self.line(&part, x + shift, &line);
                self.y += 1.25 * size;
            }
            x += wide;
        }
        self.y = top + tall;
        let (thick, colour) = if head { (0.35, GREY) } else { (0.12, RULE) };
        self.fill((SIDE, self.y - 0.4), (x - SIDE, thick), colour);
    }
    /// The paper, with foot lines.
    pub(in crate::publish) fn finish(mut self) -> Paper {
        let count = self.paper.pages.len();
        let title = self.paper.title.clone();
        for (i, page) in self.paper.pages.iter_mut().enumerate() {
            let number = format!("{} / {count}", i + 1);
            let text = |x: f64, y: f64, text: String| Mark::Text {
                node: None,
                at: (x, y),
                size: 2.4,
                bold: false,
                colour: GREY,
                text,
            };
            page.marks.push(Mark::Fill { at: (SIDE, 284.5), size: (SIZE.0 - 2.0 * SIDE, 0.2), colour: RULE });
            page.marks.push(text(SIDE, 288.5, shortened(&self.foot, false, 2.4, 155.0)));
            page.marks.push(text(SIZE.0 - SIDE - width(&number, false, 2.4), 288.5, number));
            if i > 0 {
                page.marks.push(text(SIDE, 11.5, shortened(&title, false, 2.4, 170.0)));
            }
        }
        self.paper
    }
}

/// Size a drawing of this size is put on the page at.
fn drawn(size: (f64, f64)) -> (f64, f64) {
    let scale = (Flow::across() / size.0).min(1.0).min((END - TOP - 20.0) / size.1);
    if scale.is_finite() { (size.0 * scale, size.1 * scale) } else { (0.0, 0.0) }
}

fn card_height((_, items, large): &(&str, &[String], bool), wide: f64) -> f64 {
    let most = wide - 8.0;
    let first = if *large {
        items.first().map_or(0.0, |t| 1.35 * 4.6 * lines(t, true, 4.6, most).len() as f64 + 0.8)
    } else {
        0.0
    };
    let rest = items.get(usize::from(*large)..).unwrap_or_default();
    let listed: f64 = rest.iter().map(|t| 2.9 * (1.35 * lines(t, false, 2.9, most - 3.6).len() as f64 + 0.25)).sum();
    11.0 + first + listed
}

fn row_height(row: &[String], widths: &[f64], size: f64, head: bool) -> f64 {
    let most = row.iter().zip(widths).map(|(t, w)| lines(t, head, size, w - 2.0).len()).max().unwrap_or(1);
    1.25 * size * most as f64 + 1.4
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::land::document::{FieldKind, Value};

    #[test]
    fn nothing_runs_off_a_page_and_heads_come_again() {
        let columns = &[("id", FieldKind::Integer), ("remark", FieldKind::Text)];
        let rows = (0..200).map(|i| vec![Value::Integer(i), "word ".repeat(30).as_str().into()]).collect();
        let table = crate::publish::sheet::table("t", "A long table", columns, rows);
        let mut flow = Flow::new("Title", "About", "foot");
        flow.heading(1, "Heading");
        flow.table(&table, &[]);
        flow.caution(&"x".repeat(400));
        let paper = flow.finish();
        assert!(paper.pages.len() > 5);
        let mut heads = 0;
        for mark in paper.pages.iter().flat_map(|p| &p.marks) {
            if let Mark::Text { at, size, bold, text, .. } = mark {
                let right = at.0 + width(text, *bold, *size);
                assert!(at.0 >= SIDE - 0.1 && right <= SIZE.0 - SIDE + 0.5 && at.1 <= 290.0, "{text} {at:?}");
                heads += usize::from(text == "remark");
            }
        }
        assert_eq!(heads, paper.pages.len(), "heads on every page of the table");
        let cells = paper.nodes.iter().filter(|n| n.kind == NodeKind::Cell).count();
        assert_eq!(cells, 400);
        assert!(paper.nodes.iter().enumerate().all(|(i, n)| n.parent.is_none_or(|p| p < i)), "parents come first");
    }
}
