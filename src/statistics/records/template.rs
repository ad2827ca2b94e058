//! A file of records to begin with.

use super::columns::COLUMNS;

/// Text of a CSV file with every column, what each may hold, and two invented lines.
///
/// # Example
/// ```
/// use serrata::statistics::records::{Format, Records, template};
///
/// assert_eq!(Records::parse(&template(), "template", &Format::default())?.lines().len(), 2);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn template() -> String {
    let mut text = String::from(
        "# Inspection records: one line for each blade (or each place in its root) by each technique at each\n\
         # inspection, blades without a call included. A blank cell is unknown. Further columns are kept.\n\
         # One of date and year is needed. Lines that begin with # may stand above the header only.\n\
         # Sizes are in mm, unless the header states another unit (measured_length [in]) or a column unit does:\n\
         # cm, m, um, in or mil.\n#\n",
    );
    for column in COLUMNS {
        let needed = if column.required { ", needed" } else { "" };
        text.push_str(&format!("# {} ({}{needed}): {}\n", column.name, column.takes, column.meaning));
    }
    text.push_str(&COLUMNS.map(|column| column.name).join(","));
    text.push_str(
        "\nR1,001,outage-2031,2031-04-02,,eddy-current,standard,as-machined,blades-out,A,yes,2.5,0.8,1.7,yes,2.8,0.9,\
         suction,1,2\nR1,002,outage-2031,2031-04-02,,eddy-current,standard,as-machined,blades-out,A,no,,,0.2,,,,,,\n",
    );
    text
}
