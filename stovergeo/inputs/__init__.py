"""What a grower brings, opened safely, checked, and converted once: the plan file and the layers it names.

`stovergeo.inputs.plan` holds the plan file as models; `read.read_layers` reads everything a plan names and lists
every problem at once; `grid` lays the result onto the field stack; `roles` proposes what columns may mean.
"""
