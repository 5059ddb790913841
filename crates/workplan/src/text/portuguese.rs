//! The sentences in Portuguese.

use super::{Catalogue, Key};

pub(super) const CATALOGUE: Catalogue = Catalogue {
    language: "pt",
    decimal_mark: ',',
    months: [
        "janeiro",
        "fevereiro",
        "março",
        "abril",
        "maio",
        "junho",
        "julho",
        "agosto",
        "setembro",
        "outubro",
        "novembro",
        "dezembro",
    ],
    of: " de ",
    to: " a ",
    text,
};

fn text(key: Key) -> &'static str {
    match key {
        Key::ProtectiveEquipment => {
            "Use equipamento de proteção: capacete, óculos, luvas e calçado resistente."
        }
        Key::Ladders => {
            "Escadas: só pessoas treinadas, em chão firme, nunca sozinhas, nunca em árvores molhadas ou com vento."
        }
        Key::PowerSaws => {
            "Motosserras: só operadores treinados, com proteção auditiva e roupa anticorte, nunca em escadas, nunca sozinhos."
        }
        Key::PoleTools => {
            "Ferramentas de cabo longo: ninguém fica por baixo, e longe das linhas elétricas."
        }
        Key::CleanTools => "Mantenha as lâminas afiadas e limpe-as entre árvores.",
        Key::Decide => {
            "Quem conhece o talhão decide em cada árvore. Árvores fracas, doentes ou danificadas podem precisar de menos poda ou de nenhuma."
        }
        Key::LabelFirst => {
            "Leia primeiro o rótulo do produto. Ele vale mais do que tudo o que está aqui."
        }
        Key::LocalRules => "As regras locais e a prática licenciada prevalecem.",
        Key::SprayEquipment => {
            "Prepare e pulverize com luvas, óculos, máscara e roupa comprida. Lave-se depois. Mantenha longe crianças e animais."
        }
        Key::CopperMixing => {
            "Prepare o cobre em vasilhas de plástico, nunca de ferro, e use-o no mesmo dia."
        }
        Key::Bees => {
            "Venenoso para as abelhas: não pulverize flores abertas nem quando as abelhas voam, e avise os apicultores."
        }
        Key::Water => {
            "Venenoso para os peixes: mantenha caldas e águas de lavagem fora de ribeiros, lagoas e poços. Não pulverize com vento."
        }
        Key::ReEntry => {
            "Ninguém entra em talhões tratados antes de passar o intervalo de reentrada do rótulo."
        }
        Key::PreHarvest => "Respeite o intervalo do rótulo entre o último tratamento e a colheita.",
        Key::ReEntryDays => "Reentrada: {days} dias após o tratamento.",
        Key::ReEntryMissing => "Reentrada: em falta: indique a do rótulo.",
        Key::PreHarvestDays => "Colheita: só {days} dias após o tratamento.",
        Key::PreHarvestMissing => "Intervalo antes da colheita: em falta: indique o do rótulo.",
        Key::Prune => "Podar",
        Key::Keep => "Podar como até agora",
        Key::Trial => "Talhão de ensaio: até o ensaio ser montado, podar como indicado",
        Key::Train => "Formar árvores jovens",
        Key::Rest => "Sem poda",
        Key::Site => "Local",
        Key::Region => "Região",
        Key::Trees => "Árvores",
        Key::TreesOf => "{worked} de {all}",
        Key::ToolSecateurs => "tesoura de poda",
        Key::ToolPruningSaw => "serra de poda",
        Key::ToolPowerSaw => "motosserra",
        Key::Window => "Período",
        Key::Dates => "Datas",
        Key::PersonDays => "Dias de trabalho por pessoa",
        Key::People => "Pessoas",
        Key::CutWood => "Lenha cortada, empilhada",
        Key::Tools => "Ferramentas",
        Key::Cuts => "Cortes previstos",
        Key::LeftUndone => "Não cabe no período",
        Key::ToolPieces => "{tool}: {pieces}, para cerca de {cuts} cortes",
        Key::ToolPiecesOnly => "{tool}: {pieces}",
        Key::CutEvery => "Corte cerca de um em cada {nth} ramos-guia.",
        Key::CutOfEvery => "Corte cerca de {m} em cada {n} ramos-guia.",
        Key::CutOneIn => "Corte cerca de 1 ramo-guia em {n}.",
        Key::CanopyShare => "Retire cerca de {share} da copa.",
        Key::CanopyPercent => "Retire apenas cerca de {percent} % da copa.",
        Key::HeadBack => "Encurte cada ramo-guia em cerca de {share} do seu comprimento.",
        Key::SpreadTo => {
            "Reduza a copa de {height} m de altura e {width} m de largura para cerca de {new_height} m e {new_width} m."
        }
        Key::SpreadShare => {
            "Reduza a altura e a largura da copa para cerca de {percent} % do que são."
        }
        Key::Unpruned => "Deixe as árvores sem poda.",
        Key::Percent => "Isto é {percent} % do que lá está.",
        Key::Nth2 => "dois",
        Key::Nth3 => "três",
        Key::Nth4 => "quatro",
        Key::Nth5 => "cinco",
        Key::Nth6 => "seis",
        Key::Nth8 => "oito",
        Key::Nth10 => "dez",
        Key::Share1Of10 => "um décimo",
        Key::Share1Of8 => "um oitavo",
        Key::Share1Of6 => "um sexto",
        Key::Share1Of5 => "um quinto",
        Key::Share1Of4 => "um quarto",
        Key::Share1Of3 => "um terço",
        Key::Share2Of5 => "dois quintos",
        Key::Share1Of2 => "metade",
        Key::Share3Of5 => "três quintos",
        Key::Share2Of3 => "dois terços",
        Key::Share3Of4 => "três quartos",
        Key::Share4Of5 => "quatro quintos",
        Key::Share9Of10 => "nove décimos",
        Key::WhereLateral => {
            "Corte logo acima de um ramo lateral, inclinado para o lado oposto. Não deixe tocos."
        }
        Key::WhereCollar => {
            "Corte os ramos grossos em três cortes, o último junto ao colar, sem o ferir."
        }
        Key::WhereSpread => {
            "Distribua os cortes por toda a árvore. Primeiro sai a madeira morta, partida ou cruzada."
        }
        Key::TaskSprouts => "Retire todos os rebentos do porta-enxerto, abaixo do enxerto.",
        Key::TaskLower => "Retire os ramos baixos do tronco e os ramos ladrões.",
        Key::TaskPinch => "Desponte a guia quando chegar a {height} cm.",
        Key::TaskScaffolds => {
            "Deixe {count} ramos fortes, bem distribuídos à volta do tronco. Retire os outros que competem."
        }
        Key::TaskTop => "Corte o topo da guia quando chegar a {height} m.",
        Key::TaskTopRange => {
            "Corte o topo da guia entre {low} e {high} m, mais alto onde as árvores estão mais afastadas (espaçamento em falta: indique o do talhão)."
        }
        Key::TaskTrees => "{trees} das árvores: {task}",
        Key::TrainingMissing => {
            "Sistema de condução em falta: indique o do talhão. Só estão as tarefas comuns a todos os sistemas."
        }
        Key::PasteTitle => "Pasta de cobre, 10 %, para cortes grandes",
        Key::SprayTitle => "Calda de cobre, 1 %, para ramos podados",
        Key::InsectTitle => "Proteção contra insetos: {product}",
        Key::PasteBatch => {
            "Para 10 L: {copper} kg de sulfato de cobre e {lime} kg de cal hidratada em 10 L de água."
        }
        Key::SprayBatch => {
            "Para 100 L: {copper} kg de sulfato de cobre e {lime} kg de cal hidratada em 100 L de água."
        }
        Key::InsectBatch => {
            "Para 10 L de água: {ml} mL de produto (10 x {target} % / ({strength} % / 100) = {ml_per_l} mL por L)."
        }
        Key::CopperTotal => {
            "Este talhão: {litres} L, de {copper} kg de sulfato de cobre e {lime} kg de cal hidratada."
        }
        Key::InsectTotal => "Este talhão: {litres} L de calda, {product_l} L de produto.",
        Key::Applications => "Aplicações: {times}; as quantidades são para todas.",
        Key::DrawCanopyTitle => "Quanto",
        Key::DrawCanopyOff => "cinzento: sai",
        Key::DrawCanopyStays => "branco: fica",
        Key::DrawShootsOff => "ramos tracejados: cortar",
        Key::DrawHeadTitle => "Quanto encurtar",
        Key::DrawLateralTitle => "Onde cortar um ramo",
        Key::DrawCutHere => "corte aqui, inclinado",
        Key::DrawLateral => "ramo lateral",
        Key::DrawNoStub => "sem tocos",
        Key::DrawCollarTitle => "Onde cortar um ramo grosso",
        Key::DrawUnderCut => "1 por baixo",
        Key::DrawTopCut => "2 por cima",
        Key::DrawCollarCut => "3 junto ao colar",
        Key::DrawOpenTitle => "Centro aberto",
        Key::DrawPinch => "despontar a {height} cm",
        Key::DrawScaffolds => "deixar {count} ramos",
        Key::DrawLeaderTitle => "Guia modificada",
        Key::DrawTop => "topo: cortar a {height} m",
        Key::DrawOffLow => "ramos baixos: retirar",
        Key::DrawOffSprouts => "rebentos: retirar",
        Key::EventTitle => "{work}: {block} ({site})",
        Key::EventTrees => "Árvores: {trees}.",
        Key::EventPersonDays => "Dias de trabalho por pessoa: {days}.",
    }
}
