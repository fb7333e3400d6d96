"""Reports: a setup, a part or a batch, as PDF and as one self-contained HTML page.

`content` and `overview` say what stands in a report, in plain words; `pdf` and `html` only lay
it out, so that both say the same. Needs the extra ``app`` (fpdf2, Jinja2, matplotlib).
"""
