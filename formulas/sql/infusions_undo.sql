drop trigger check_infusion on formulas_formulaversion;
drop function formulas_check_infusion();
