"""Print the set-up commands of the README, one a line: the shell blocks under its heading "Set up"."""

import re
import sys
from pathlib import Path

text = Path(sys.argv[1]).read_text(encoding="utf-8")
section = re.split(r"^## ", text.split("\n## Set up\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]
for block in re.findall(r"^```sh\n(.*?)^```", section, flags=re.MULTILINE | re.DOTALL):
    for line in block.splitlines():
        if line.strip():
            print(line)
