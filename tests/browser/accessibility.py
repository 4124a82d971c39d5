"""What the axe rules find on the page that a browser shows."""

from collections.abc import Sequence
from importlib.resources import files
from typing import Any

from selenium import webdriver

AXE = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")


def serious_faults(driver: webdriver.Chrome, rules: Sequence[str] = ()) -> list[str]:
    """Serious and critical faults, one line each: the rule, and the first elements that break it.

    ``rules``: only these, for a page that was tried by all of them already and of which little has changed.
    """
    if not driver.execute_script("return 'axe' in window"):
        driver.execute_script(AXE)
    result: dict[str, Any] = driver.execute_async_script(
        "const [rules, done] = arguments;"
        "const only = rules.length ? { runOnly: { type: 'rule', values: rules } } : {};"
        "axe.run(document, { resultTypes: ['violations'], ...only }).then("
        "  result => done({ violations: result.violations }), error => done({ failed: String(error) }));",
        list(rules),
    )
    if "failed" in result:
        return [f"the rules could not be run: {result['failed']}"]
    return [
        f"{fault['id']} ({fault['impact']}): {'; '.join(node['html'][:140] for node in fault['nodes'][:3])}"
        for fault in result["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
