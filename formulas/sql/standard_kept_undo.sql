drop function formulas_check_standard();
