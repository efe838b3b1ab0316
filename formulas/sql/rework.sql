select walls.key('formulas_rework', true), walls.of_maker('formulas_rework'),
       walls.append_only('formulas_rework'),
       walls.link('formulas_rework', 'batch_id', 'formulas_batch', 'maker'),
       walls.link('formulas_rework', 'weighing_id', 'formulas_weighing', 'maker');
