-- What was named falls with its table.

