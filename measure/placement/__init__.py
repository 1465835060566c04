"""From files to the choices of ``apexline place``, and the plan of what to measure."""
