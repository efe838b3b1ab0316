alter table formulas_product drop constraint product_gtin_checks;
drop function formulas_is_gtin(text);
