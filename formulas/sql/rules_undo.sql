drop trigger keep_plan on formulas_batch;
drop trigger check_formula on formulas_formula;
drop trigger check_lines on formulas_line;
drop trigger check_hundred on formulas_line;
drop trigger check_version on formulas_formulaversion;
drop function formulas_keep_plan(), formulas_check_formula(), formulas_check_lines(),
  formulas_refuse_cycle(uuid, uuid), formulas_take_turn(uuid), formulas_check_version(),
  formulas_check_hundred();
