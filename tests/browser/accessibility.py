"""What the axe rules find on the page that a browser shows."""

from importlib.resources import files
from typing import Any

from selenium import webdriver

AXE = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")


def serious_faults(driver: webdriver.Chrome) -> list[str]:
    """Serious and critical faults, one line each: the rule, and the first elements that break it."""
    driver.execute_script(AXE)
    result: dict[str, Any] = driver.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "axe.run(document, { resultTypes: ['violations'] }).then(done, error => done({ failed: String(error) }));"
    )
    if "failed" in result:
        return [f"the rules could not be run: {result['failed']}"]
    return [
        f"{fault['id']} ({fault['impact']}): {'; '.join(node['html'][:140] for node in fault['nodes'][:3])}"
        for fault in result["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
