//! Commands of the public pages, as they stand there. It runs none of them.

/// A line of a shell block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The command.
    pub command: String,
    /// What stands behind `#`; may be empty.
    pub remark: String,
}

/// The lines of the shell blocks of a page, block by block, without empty ones. A line that ends in a backslash goes on.
pub fn shell_blocks(page: &str) -> Vec<Vec<Line>> {
    let blocks = page.split("```sh\n").skip(1).filter_map(|rest| rest.split("```").next());
    let line = |text: &str| {
        let (command, remark) = text.split_once(" #").unwrap_or((text, ""));
        Line { command: command.trim().to_owned(), remark: remark.trim().to_owned() }
    };
    let lines = |block: &str| block.replace("\\\n", " ").lines().map(line).collect::<Vec<_>>();
    blocks.map(|block| lines(block).into_iter().filter(|line| !line.command.is_empty()).collect()).collect()
}
