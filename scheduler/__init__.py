"""Plans a treatment facility: a problem document in, a checked plan document out.

Usable on its own: ``python -m scheduler problem.json --seconds 60 --out plan.json``.
"""
