"""What people keep: plan, playbooks, device descriptions, as-found files, work orders.

The way in, for one document: :mod:`.yaml_reader` makes a tree with positions of the text,
:mod:`.shape` holds it against a model, a ``*_build`` module makes the domain's values of the
model. :mod:`.folder` does that for a whole facility and gathers everything that is wrong.
"""
