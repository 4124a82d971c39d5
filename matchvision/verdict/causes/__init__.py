"""Why it went as it went: explanations refitted to the measured run, and held against each other by evidence."""
